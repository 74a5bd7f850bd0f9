# SPDX-License-Identifier: Apache-2.0
"""Sends what a robot measures to the collector on the pit laptop (`afterbell collect`).

Copy this one file into the robot program. It needs Python 3.9 or later and nothing else.

    from afterbell_sender import Sender

    sender = Sender("ws://10.0.0.5:4151/v1/live", robot="heron", token="ab_...")
    volts = sender.signal("power/voltage [V]", float)    # once for each signal
    mode = sender.signal("robot/mode", str)              # float, int, bool or str
    while running:                                       # the control loop
        now = sender.now()                               # microseconds, monotonic
        volts.record(now, battery.voltage())
        mode.record(now, "driver")
    sender.close(timeout=10)                             # True: all of it is on the laptop's disk

What is promised:

- `record` does no I/O, waits for nothing and never raises. Two threads do the rest. They share the
  interpreter with the control loop and let it through every 128 samples.
- A batch is kept until the collector says that it is on its disk, and is sent again after a lost
  connection. The collector takes each batch once.
- Memory is bounded. When `spool_bytes` are full, the oldest samples go and are counted in
  `stats()["lost"]`; when more than 65 536 come between two batches, the newest, in "dropped".
- With `spool_dir` every batch is also written to a file there. What a program that was ended did
  not get rid of, the next one sends, under the name of its own start (`boot`). The file survives
  the program; of a loss of power the operating system may lose the last seconds, for the file is
  not synced. One program at a time uses the folder.

Each start is a boot of its own, with a name of its own; a `boot` you give must be new each time.
Times are the robot's: any clock in microseconds that is monotonic, `time.monotonic_ns` by default.
The wire is described in schemas/live.md.
"""

import base64, collections, glob, hashlib, json, logging, math, operator, os, random, re, secrets  # noqa: E401
import selectors, socket, ssl, struct, threading, time, urllib.parse, zlib  # noqa: E401

SUBPROTOCOL = "afterbell.live.v1"
_TYPES = {float: "float64", int: "int64", bool: "bool", str: "text"}
_MAX_TIME = 9 * 10**18  # the collector takes times of 9e12 s at most
_MAX_TEXT = 64 << 10  # bytes
_PENDING = 65_536  # samples between two batches
_MESSAGE = 256 << 10  # a batch ends when it is as large; with one more text it stays far under 8 MiB
_FLYING, _FLYING_BYTES = 64, 1 << 20  # on their way without an ack
# Seconds: a handshake, a connection without a sign of life, a wait for an ack, from one clock
# exchange to the next, after a refusal, and the bounds of the pause before connecting again.
_HANDSHAKE, _SILENCE, _ACK, _CLOCK, _PAUSE, _BACKOFF = 5.0, 6.0, 5.0, 3.0, 0.25, (0.05, 2.0)


class Sender:
    """Sends the samples of one robot computer. Its methods may be called from any thread."""

    def __init__(self, url, robot, source="main", boot=None, token=None, *, spool_bytes=64 << 20, spool_dir=None,
                 every=0.02, clock=None, ssl_context=None, log=None):
        """Begins to connect in the background; the collector may come later. The address may be "mdns:",
        or "mdns:10.0.0.2" with the robot's own: see find_collectors. Raises ValueError for
        what can never work, OSError when the folder of the spool cannot be used. `ssl_context` is for
        wss:// with a certificate of your own; `every` is seconds from one batch to the next."""
        parts = urllib.parse.urlsplit(url)
        if re.fullmatch(r"mdns:[0-9.]*", url):
            parts = None  # found in the network each time it connects
        elif parts.scheme not in ("ws", "wss") or not parts.hostname:
            raise ValueError(f"the collector's address {url!r} is not of the form ws://HOST:PORT/v1/live")
        if spool_bytes < 64 << 10 or every <= 0:
            raise ValueError("spool_bytes must be at least 65536, and every more than 0")
        if token is not None and not re.fullmatch(r"[!-~]+", token):
            raise ValueError("the token is not what `afterbell collect token` printed")
        self._robot, self._source = _named("robot", robot), _named("source", source)
        self._boot = secrets.token_hex(16) if boot is None else boot
        if not 1 <= len(self._boot.encode()) <= 256:
            raise ValueError("a boot is a text of 1 to 256 bytes")
        self._clock = clock or (lambda: time.monotonic_ns() // 1000)
        self._every, self._log = every, log or logging.getLogger("afterbell")
        self._pending = collections.deque()  # rows (Signal, time, value), and match messages
        self._signals, self._lock, self._counting = {}, threading.Lock(), threading.Lock()
        self._dropped = self._unfit = self._cut = 0
        self._newest, self._closed, self._stop = None, False, threading.Event()
        self._spool = _Spool(spool_bytes, self._log)
        hello = {"type": "hello", "robot": self._robot, "source": self._source, "boot": self._boot}
        earlier = []
        if spool_dir is not None:
            self._guard = _lock_folder(spool_dir)
            for path in sorted(glob.glob(os.path.join(glob.escape(spool_dir), "*.spool")), key=os.path.getmtime):
                left = _read_spool(path, spool_bytes, self._log)
                if left and dict(left[0], boot=self._boot) == hello:  # another robot's stays where it is
                    earlier.append(left)
            name = hashlib.sha256(json.dumps(hello).encode()).hexdigest()[:16] + ".spool"
            try:
                self._spool.file = _File(os.path.join(spool_dir, name), hello, self._log)
            except FileExistsError:
                raise ValueError(f"boot {self._boot!r} is in {spool_dir} already; each start needs another one") from None
        link = (url, parts, token, ssl_context, self._stop, self._log)
        self._earlier = [_Link(spool, hello, None, *link) for hello, spool in earlier]  # no clock: theirs may be gone
        self._threads = [threading.Thread(target=f, name="afterbell", daemon=True) for f in
                         [self._cutting, _Link(self._spool, hello, self._clock, *link).run] + [e.run for e in self._earlier]]
        for thread in self._threads:
            thread.start()

    def now(self):
        """The robot's time in microseconds."""
        return self._clock()

    def signal(self, name, kind):
        """The signal of that name; a unit may ride on it: "power/voltage [V]". `kind` is float, int,
        bool or str. Call it once for each, not in the loop. A signal that cannot be is logged, and
        its samples are counted as "unfit": a robot must not stop for that."""
        with self._lock:
            bare = re.sub(r"[ \t]+\[[^\[\]]+\]$", "", name.strip())
            known = self._signals.get(bare)
            if known and (known.name, known.kind) == (name, kind):
                return known
            signal = Signal(self, name, kind, self._clock)
            if kind not in _TYPES:
                signal.error = f"signal {name!r}: its kind is float, int, bool or str, not {kind!r}"
            elif known:
                signal.error = f"signal {name!r} is there as {known.name!r}, {known.kind.__name__}"
            elif not _is_utf8(name, 1024) or not _is_utf8(bare, 256) or not bare:
                signal.error = f"signal {name!r}: a name is UTF-8 of 1 to 256 bytes"
            elif len(self._signals) >= 10_000:
                signal.error = f"signal {name!r}: more than 10000 signals; is a value part of a name?"
            else:
                self._signals[bare] = signal
                self._spool.declare(name, _TYPES[kind])
            if signal.error:
                self._log.error("a signal cannot be sent: %s", signal.error)
            return signal

    def match(self, state, event="", match="", at_us=None):
        """Opens ("start") or closes ("end") a match by hand, at `at_us` or the newest sample. The mode
        signal of the robot's profile does that by itself, where it names one."""
        if state not in ("start", "end"):
            raise ValueError(f"the state of a match is start or end, not {state!r}")
        if self._closed:
            raise ValueError("the sender is closed")
        message = {"type": "match", "state": state}
        for what, name in (("event", event), ("match", match)):
            if name:
                message[what] = _named(what, name)
        if at_us is not None:
            message["at_us"] = operator.index(at_us)
        self._pending.append(message)

    def stats(self):
        """How things are: counts of samples (recorded = acked + waiting + lost + refused), and more.
        "earlier" is what earlier programs left and is not acked yet. It may wait for the disk: not for the loop."""
        with self._lock:
            recorded = self._cut + len(self._pending)
            s = self._spool.stats()
        s.update(recorded=recorded, dropped=self._dropped, unfit=self._unfit,
                 waiting=recorded - s["acked"] - s["lost"] - s["refused"],
                 earlier=sum(e.spool.stats()["samples"] for e in self._earlier))
        del s["samples"]
        return s

    def close(self, timeout=10.0):
        """Takes no more samples and waits, at most `timeout` seconds, until everything is on the
        collector's disk. False when something is not: it is in the folder of the spool, or lost."""
        self._closed = True
        with self._lock:
            self._cut_now()
        done = self._spool.drained(timeout)
        self._stop.set()
        for thread in self._threads:
            thread.join(2.0)
        if self._spool.file:
            self._spool.file.close(done)
            self._guard.close()
        return done

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def _cutting(self):
        while not self._stop.wait(self._every):
            with self._lock:
                self._cut_now()

    def _cut_now(self):
        """Makes batches of what was recorded. The lock is held, which `record` does not take."""
        rows, before, size = [], [], 0
        for n in range(len(self._pending)):
            row = self._pending.popleft()
            if isinstance(row, dict):
                if rows:
                    self._spool.push(before, rows)
                    rows, before, size = [], [], 0
                if "at_us" not in row and self._newest is not None:
                    row["at_us"] = self._newest  # now, and not when it arrives
                before.append(json.dumps(row))
                continue
            signal, t, v = row
            if self._newest is None or t > self._newest:
                self._newest = t
            rows.append(signal.head + str(t) + "," + _json_value(v) + "]")
            self._cut += 1
            size += len(rows[-1])
            if size > min(_MESSAGE, self._spool.limit // 4):
                self._spool.push(before, rows)
                rows, before, size = [], [], 0
            if n % 128 == 127:
                time.sleep(0)  # let go of the interpreter: the control loop may want it
        if rows or before:  # a match message is durable with a later batch, even an empty one
            self._spool.push(before, rows)

    def _misfit(self, signal, v):
        with self._counting:
            self._unfit += 1
        if not signal.error and not signal.warned:
            signal.warned = True
            self._log.error("a sample of %r cannot be sent (said once): %.60r at that time", signal.name, v)
        return False


class Signal:
    """One thing that is measured. `error` is why nothing of it can be sent, or None."""

    def __init__(self, sender, name, kind, clock):
        self.name, self.kind, self.error, self.warned = name, kind, None, False
        self.head = "[" + json.dumps(name) + ","
        self._sender, self._append, self._pending = sender, sender._pending.append, sender._pending

    def record(self, time_us, value):
        """Takes a sample at a time of the robot's clock in microseconds. True when it was taken."""
        kind = self.kind
        if type(value) is not kind or type(time_us) is not int or kind is str:
            try:  # subclasses, whole numbers for float, the numbers of array libraries
                time_us = operator.index(time_us)
                if kind is float and not isinstance(value, (bool, str, bytes)):
                    value = float(value)
                elif kind is int and not isinstance(value, bool):
                    value = operator.index(value)
                elif type(value) is not kind or kind is str and len(value.encode()) > _MAX_TEXT:
                    return self._sender._misfit(self, value)
            except (TypeError, ValueError, OverflowError):  # UnicodeEncodeError is a ValueError: a lone surrogate
                return self._sender._misfit(self, value)
        if not -_MAX_TIME <= time_us <= _MAX_TIME or self.error or self._sender._closed \
                or kind is int and not -1 << 63 <= value < 1 << 63:
            return self._sender._misfit(self, value)
        if len(self._pending) >= _PENDING:
            with self._sender._counting:
                self._sender._dropped += 1
            return False
        self._append((self, time_us, value))  # one step for the interpreter, so no lock
        return True


def _json_value(v):
    if v is True or v is False:
        return "true" if v else "false"
    if isinstance(v, float):
        return repr(v) if math.isfinite(v) else '"nan"' if v != v else '"inf"' if v > 0 else '"-inf"'
    if isinstance(v, int):
        return str(v) if abs(v) < 1 << 53 else f'"{v}"'
    return json.dumps(v, ensure_ascii=False)


def _named(what, name):
    if not re.fullmatch(r"[a-z][a-z0-9._-]{0,63}", name):
        raise ValueError(f"{what} {name!r} is not a name: use 1 to 64 of a-z 0-9 . _ -, and begin with a letter")
    return name


def _is_utf8(text, most):
    try:
        return len(text.encode()) <= most
    except UnicodeEncodeError:
        return False


class _Batch:
    __slots__ = ("before", "body", "samples", "refused", "size")

    def __init__(self, before, body, samples):
        self.before, self.body, self.samples, self.refused = before, body, samples, 0
        self.size = 128 + len(body) + sum(map(len, before))


class _Spool:
    """The batches that the collector may not have, and which to send next. Batch `first + i` is
    `batches[i]`; what is asked for before `first` is sent empty: it was given up, or the collector
    that had it is gone."""

    def __init__(self, limit, log):
        self.limit, self.log, self.changed = limit, log, threading.Condition()
        self.file, self.path = None, None  # that it is written to, and that it was read from
        self.names, self.types, self.batches = [], [], collections.deque()
        self.first = self.next = 1  # to be sent on this connection
        self.acked = self.sent = self.alone = self.stale = self.gap_at = self.bytes = 0
        self.warned = self.final = False  # final: numbers were settled by a welcome
        self.counts = {"acked": 0, "lost": 0, "refused": 0, "batches": 0, "connects": 0, "connected": False, "trouble": ""}

    def declare(self, name, kind):
        with self.changed:
            self.names.append(name)
            self.types.append(kind)
            if self.file:
                self.file.write(self.signals(len(self.names) - 1))

    def signals(self, first):
        return {"type": "signals", "first": first, "names": self.names[first:], "types": self.types[first:]}

    def push(self, before, rows):
        batch = _Batch(before, ",".join(rows).encode(), len(rows))
        with self.changed:
            self.batches.append(batch)
            self.bytes += batch.size
            if self.file:
                self.file.batch(self.last(), batch)
            self.make_room()
            if self.file:
                self.file.trim(self)

    def last(self):
        return self.first + len(self.batches) - 1

    def make_room(self):
        while self.bytes > self.limit and len(self.batches) > 1:
            old = self.batches.popleft()
            self.batches[0].before = old.before + self.batches[0].before  # a match message is not lost
            self.first, self.bytes = self.first + 1, self.bytes - old.size
            self.counts["lost"] += old.samples
            if not self.warned:
                self.warned = True
                self.log.warning("the spool is full: the oldest samples go until the collector is there again")

    def welcome(self, durable):
        with self.changed:
            if not self.path and durable and (not self.final or durable > self.last()):
                # It has batches of this boot that this program never sent. Ours come behind.
                self.first = max(self.first, durable + 1)
                if self.file:
                    self.file.rewrite(self)
            self.final = True
            self.drop(durable)
            self.acked, self.next, self.stale = durable, durable + 1, 0
            self.sent = max(self.sent, durable)
            self.counts.update(connects=self.counts["connects"] + 1, connected=True, trouble="")

    def drop(self, durable):
        while self.batches and self.first <= durable:
            old = self.batches.popleft()
            self.first, self.bytes = self.first + 1, self.bytes - old.size
            self.counts["acked"] += old.samples
            self.counts["batches"] += 1
        self.warned = self.warned and bool(self.batches)
        if self.file:
            self.file.write({"type": "ack", "durable_seq": durable})
            self.file.trim(self)
        self.changed.notify_all()

    def ack(self, durable):
        with self.changed:
            if durable > self.sent:
                raise _Trouble(f"the collector acknowledges batch {durable}, and {self.sent} is the last that was sent")
            if durable > self.acked:
                self.acked, self.next = durable, max(self.next, durable + 1)
                if self.gap_at <= durable:
                    self.stale = 0
                self.drop(durable)

    def gap(self, expected):
        """Goes back. Each batch on its way behind the hole brings one error, the first is enough."""
        with self.changed:
            if not self.acked < expected <= self.sent + 1:
                raise _Trouble(f"the collector expects batch {expected} after it had {self.acked} of {self.sent}")
            if self.stale and expected == self.gap_at:
                self.stale -= 1
            elif expected < self.next:
                self.gap_at, self.stale, self.next = expected, self.next - 2 - expected, expected

    def again(self):
        with self.changed:
            self.next, self.stale = self.acked + 1, 0

    def refuse(self, why):
        """Something that was sent is not kept. An error does not say what it is about: one batch on
        its way is it, else they go one at a time on a new connection. Refused twice, a batch is sent
        empty, so that those behind it get through."""
        with self.changed:
            flying = self.next - 1 - self.acked
            self.alone = max(self.alone, self.next - 1)
            if flying > 1:
                raise _Trouble("the collector refused something; sending one batch at a time to find out what")
            if flying == 1 and self.acked + 1 >= self.first:
                batch = self.batches[self.acked + 1 - self.first]
                batch.refused += 1
                if batch.refused > 1:
                    self.log.error("the collector refuses a batch; %d samples go: %s", batch.samples, why)
                    self.counts["refused"] += batch.samples
                    self.bytes -= len(batch.body)
                    batch.body, batch.samples, batch.size = b"", 0, batch.size - len(batch.body)

    def take(self):
        """The messages of the next batch that may be on its way, or None."""
        with self.changed:
            flying = self.next - 1 - self.acked
            if self.next > self.last() or flying and (flying >= _FLYING or self.acked < self.alone or sum(
                    b.size for b in map(self.at, range(self.acked + 1, self.next))) > _FLYING_BYTES):
                return None
            batch, seq = self.at(self.next), self.next
            self.next, self.sent = seq + 1, max(self.sent, seq)
            return [m.encode() for m in batch.before] + [_message(seq, batch)]

    def at(self, seq):
        return self.batches[seq - self.first] if seq >= self.first else _Batch([], b"", 0)

    def lost(self, why):
        with self.changed:
            self.counts.update(connected=False, trouble=why)

    def stats(self):
        with self.changed:
            return dict(self.counts, spooled_bytes=self.bytes, samples=sum(b.samples for b in self.batches))

    def drained(self, timeout):
        with self.changed:
            return self.changed.wait_for(lambda: not self.batches, timeout)


def _message(seq, batch):
    return b'{"type":"batch","seq":%d,"samples":[%s]}' % (seq, batch.body)


class _File:
    """A spool's copy on disk: the messages of the wire, one a line, each behind its CRC-32."""

    def __init__(self, path, hello, log):
        self.path, self.hello, self.log, self.size = path, hello, log, 0
        self.f = open(path, "xb", buffering=0)
        self.write(hello)

    def write(self, *messages):
        """Appends messages, dictionaries or bytes. Of a disk that fails is said once; then the spool is in memory only."""
        if self.f is None:
            return
        data = b""
        for m in messages:
            m = m if isinstance(m, bytes) else json.dumps(m).encode()
            data += b"%08x %s\n" % (zlib.crc32(m), m)
        try:
            self.size += self.f.write(data)
        except OSError as e:
            self.log.error("the file of the spool cannot be written; going on in memory only: %s", e)
            self.f = None

    def batch(self, seq, batch):
        self.write(*[m.encode() for m in batch.before], _message(seq, batch))

    def trim(self, spool):
        if self.size > max(2 * spool.bytes, 1 << 20):
            self.rewrite(spool)

    def rewrite(self, spool):
        """Leaves out what is acknowledged or given up. The new file takes the old one's place at once."""
        if self.f is None:
            return
        try:
            old, self.f, self.size = self.f, open(self.path + ".new", "wb", buffering=0), 0
            self.write(self.hello, spool.signals(0), {"type": "ack", "durable_seq": spool.first - 1})
            for i, b in enumerate(spool.batches):
                self.batch(spool.first + i, b)
            old.close()
            if self.f:
                self.f.close()
                os.replace(self.path + ".new", self.path)
                self.f = open(self.path, "ab", buffering=0)
        except OSError as e:
            self.log.error("the file of the spool cannot be written; going on in memory only: %s", e)
            self.f = None

    def close(self, empty):
        if self.f:
            self.f.close()
        if empty:
            os.remove(self.path)


def _read_spool(path, limit, log):
    """What an earlier program left: its hello and its spool. None when there is nothing to send."""
    spool, hello, before, bad = _Spool(limit, log), None, [], 0
    with open(path, "rb") as f:
        lines = f.read().split(b"\n")
    for line in lines:
        crc, _, text = line.partition(b" ")
        if crc != b"%08x" % zlib.crc32(text):
            bad += line != b""  # the last line of a program that was killed, or damage
            continue
        m = json.loads(text)
        if m["type"] == "hello":
            hello = m
        elif m["type"] == "signals":
            spool.names[m["first"]:], spool.types[m["first"]:] = m["names"], m["types"]
        elif m["type"] == "match":
            before.append(text.decode())
        elif m["type"] == "ack":
            while spool.batches and spool.first <= m["durable_seq"]:
                spool.batches.popleft()
                spool.first += 1
            if not spool.batches:
                spool.first = max(spool.first, m["durable_seq"] + 1)
        elif m["type"] == "batch":
            while spool.last() + 1 < m["seq"]:
                spool.batches.append(_Batch([], b"", 0))  # its line is damaged
            spool.batches.append(_Batch(before, text[text.index(b"[") + 1:-2], len(m["samples"])))
            before = []
    if bad:
        log.warning("%d lines of %s cannot be read and are left out", bad, path)
    if not spool.batches and (hello or not bad):
        os.remove(path)  # all of it is on the collector's disk
    if not spool.batches or not hello:
        return None
    spool.bytes, spool.path = sum(b.size for b in spool.batches), path
    spool.final, spool.sent, spool.next = True, spool.last(), spool.first
    spool.make_room()
    return hello, spool


def _lock_folder(path):
    """Two programs in one folder would send the same twice, and remove each other's files."""
    os.makedirs(path, exist_ok=True)
    f = open(os.path.join(path, "lock"), "a+b")
    try:
        if os.name == "nt":
            import msvcrt
            msvcrt.locking(f.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl
            fcntl.flock(f, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        f.close()
        raise ValueError(f"the folder {path!r} is the spool of a program that runs; give each sender its own") from None
    return f


class _Trouble(Exception):
    """Why a connection ended."""


class _Link:
    """Connects a spool with the collector, again and again."""

    def __init__(self, spool, hello, clock, url, parts, token, ssl_context, stop, log):
        self.spool, self.hello, self.clock, self.stop, self.log = spool, hello, clock, stop, log
        self.url, self.address, self.token, self.ssl = url, parts, token, ssl_context

    def run(self):
        attempt, said, path = 0, None, self.spool.path
        while not self.stop.is_set() and not (path and self.spool.drained(0)):
            began, acked = time.monotonic(), self.spool.acked
            try:
                self._session()
            except Exception as e:  # whatever it is, trying again is all that can be done
                why = f"{self.url}: {e}"
                self.spool.lost(why)
                if why != said:
                    said = why
                    self.log.warning("no connection to the collector; trying again and again: %s", why)
            if self.spool.acked > acked or time.monotonic() - began > 2 * _BACKOFF[1]:
                attempt = 0  # it was a good connection
            # Exponential, with full jitter: robots that lost the same radio come back one by one.
            self.stop.wait(random.uniform(0, min(_BACKOFF[1], _BACKOFF[0] * 2 ** min(attempt, 16))))
            attempt += 1
        if path and self.spool.drained(0):
            os.remove(path)

    def _session(self):
        address, spool = self.address, self.spool
        if address is None:
            found = find_collectors(self.url[5:] or None)
            if len(found) != 1:
                raise _Trouble("several collectors answer, give the address of yours: " + ", ".join(found) if found else "no collector answers")
            address = urllib.parse.urlsplit(found[0])
        ws = _WebSocket(address, self.token, self.ssl)
        self.welcomed, self.numbered, self.asked, self.paused, self.disk = False, 0, None, 0.0, _PAUSE
        began = heard = moved = time.monotonic()
        due_ping, due_clock, acked = heard + _SILENCE / 3, heard, -1
        batches = False  # among what waits for the network: a ping that has gone is no progress
        ws.send(1, json.dumps(self.hello).encode())
        try:
            while not self.stop.is_set() and not (spool.path and spool.drained(0)):
                now = time.monotonic()
                if self.welcomed and self.clock and now >= due_clock:
                    self.asked, due_clock = self.clock(), now + _CLOCK
                    ws.send(1, json.dumps({"type": "clock", "t0_us": self.asked}).encode())
                if now >= due_ping:
                    ws.send(9, b"")
                    due_ping = now + _SILENCE / 3
                if self.welcomed and now >= self.paused:
                    if self.paused or moved + _ACK < now and spool.next > spool.acked + 1:
                        spool.again()  # a pause is over, or no ack has come for long
                        self.paused, moved = 0.0, now
                    batches = self._batches(ws) or batches
                wrote, messages = ws.turn(0.02)
                for text in messages:
                    self._take(ws, text)
                if ws.alive:
                    heard, ws.alive = time.monotonic(), False
                if wrote and batches or spool.acked != acked or spool.next == spool.acked + 1:
                    moved, acked = time.monotonic(), spool.acked
                batches = batches and bool(ws.out)
                if now - heard > _SILENCE or not self.welcomed and now - began > _HANDSHAKE:
                    raise _Trouble("the collector does not answer")
            ws.goodbye()
        except _Closed as e:
            if e.code in (1002, 1003, 1007, 1009):
                spool.refuse(str(e))
            raise
        finally:
            ws.close()

    def _batches(self, ws):
        """Sends what may be on its way, as long as the network takes it; whether there was any."""
        any_at_all = False
        while len(ws.out) < 64 << 10:
            messages = self.spool.take()
            if messages is None:
                break
            any_at_all = True
            more = self.spool.signals(self.numbered)
            if more["names"]:
                ws.send(1, json.dumps(more).encode())
                self.numbered += len(more["names"])
            for m in messages:
                ws.send(1, m)
        return any_at_all

    def _take(self, ws, text):
        """Takes up what the collector says. Types that are not known are passed over."""
        t3 = self.clock() if self.clock else 0  # before anything else takes time
        try:
            m = json.loads(text)
            kind, code = m.get("type"), m.get("code")
            if kind == "welcome" and not self.welcomed:
                self.spool.welcome(_count(m["durable_seq"]))
                self.welcomed = True
            elif kind == "ack":
                self.spool.ack(_count(m["durable_seq"]))
                self.disk = _PAUSE
            elif kind == "clock" and self.asked is not None and m["t0_us"] == self.asked:
                if t3 >= self.asked:
                    ws.send(1, json.dumps({"type": "clock", "t0_us": self.asked, "t3_us": t3}).encode())
                self.asked = None
            elif kind == "error" and code == "storage":
                self.log.warning("the collector's disk takes nothing now; keeping everything here: %s", m.get("message"))
                self.paused, self.disk = time.monotonic() + self.disk, min(2 * self.disk, _BACKOFF[1])
            elif kind == "error" and not self.welcomed:
                raise _Trouble(f"the collector refuses robot {self.hello['robot']}: {m.get('message')}")
            elif kind == "error" and code == "gap":
                self.spool.gap(_count(m["expected"]))
            elif kind == "error" and code == "bad_name":  # of a match; the batches do not depend on it
                self.log.error("the collector refuses a name: %s", m.get("message"))
            elif kind == "error":
                self.log.warning("the collector refuses something: %s: %s", code, m.get("message"))
                self.paused = time.monotonic() + _PAUSE
                self.spool.refuse(m.get("message"))
        except (KeyError, TypeError, AttributeError, ValueError, RecursionError) as e:
            raise _Trouble(f"the collector sends what cannot be read: {text[:80]!r} ({e})") from None


def _count(n):
    if type(n) is not int or not 0 <= n <= 1 << 53:
        raise ValueError(f"{n!r} is no number of a batch")
    return n


_NOT_NOW = (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError)


class _Closed(_Trouble):
    def __init__(self, code, why):
        super().__init__(f"the collector closed the connection: {code} {why}")
        self.code = code


class _WebSocket:
    """The client's side of RFC 6455, as much of it as is needed."""

    def __init__(self, address, token, ssl_context):
        host, secure = address.hostname, address.scheme == "wss"
        self.sock = socket.create_connection((host, address.port or (443 if secure else 80)), _HANDSHAKE)
        self.out, self.data, self.parts, self.alive = bytearray(), b"", None, False
        try:
            self.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if secure:
                self.sock = (ssl_context or ssl.create_default_context()).wrap_socket(self.sock, server_hostname=host)
            self._handshake(address, token)
            self.sock.setblocking(False)
        except BaseException:
            self.sock.close()
            raise

    def _handshake(self, address, token):
        key, deadline = base64.b64encode(os.urandom(16)).decode(), time.monotonic() + _HANDSHAKE
        lines = [f"GET {address.path if address.path.strip('/') else '/v1/live'} HTTP/1.1",
                 f"Host: {address.netloc.rpartition('@')[2]}", "Upgrade: websocket", "Connection: Upgrade",
                 f"Sec-WebSocket-Key: {key}", "Sec-WebSocket-Version: 13", f"Sec-WebSocket-Protocol: {SUBPROTOCOL}"]
        if token is not None:
            lines.append(f"Authorization: Bearer {token}")
        self.sock.sendall("\r\n".join(lines + ["", ""]).encode("ascii"))
        while b"\r\n\r\n" not in self.data:
            self.sock.settimeout(max(deadline - time.monotonic(), 0.001))
            more = self.sock.recv(4096)
            if not more or len(self.data) > 16 << 10:
                raise _Trouble("what answers there does not speak HTTP")
            self.data += more
        head, _, self.data = self.data.partition(b"\r\n\r\n")
        status, *fields = head.decode("latin-1").split("\r\n")
        fields = {k.strip().lower(): v.strip() for k, _, v in (f.partition(":") for f in fields)}
        code = status.split(" ")[1:2]
        if code != ["101"]:
            hint = "; give the token of the collector" if code == ["401"] else ""
            raise _Trouble(f"it answers {status[:80]}{hint}: {self.data[:200].decode('latin-1').strip()}")
        if fields.get("upgrade", "").lower() != "websocket" or fields.get("sec-websocket-accept") != accept_for(key) \
                or fields.get("sec-websocket-protocol") != SUBPROTOCOL:
            raise _Trouble("what answers there is no collector")

    def send(self, opcode, payload):
        self.out += frame(opcode, payload, os.urandom(4))

    def turn(self, wait):
        """Waits until the network gives or takes, then moves bytes. True when it took some, and the text messages."""
        took, pending = 0, isinstance(self.sock, ssl.SSLSocket) and self.sock.pending()
        with selectors.DefaultSelector() as s:
            s.register(self.sock, selectors.EVENT_READ | (selectors.EVENT_WRITE if self.out else 0))
            if not s.select(0 if pending else wait) and not pending:
                return False, self._messages()  # some may have come with the answer to the handshake
        try:
            if self.out:
                took = self.sock.send(bytes(self.out[:64 << 10]))
                del self.out[:took]
        except _NOT_NOW:
            pass
        try:
            more = self.sock.recv(64 << 10)
            if not more:
                raise _Trouble("the collector has gone")
            self.data += more
        except _NOT_NOW:
            pass
        return took > 0, self._messages()

    def _messages(self):
        texts = []
        while True:
            one = self._frame()
            if one is None:
                return texts
            self.alive = True
            final, opcode, payload = one
            if opcode == 9:
                self.send(10, payload)
            elif opcode == 8:
                self._end(payload[:2])
                code = int.from_bytes(payload[:2], "big") if len(payload) > 1 else 1005
                raise _Closed(code, payload[2:].decode("utf-8", "replace"))
            elif opcode != 10:
                if opcode > 1 or (opcode == 1) == (self.parts is not None):
                    self._fail(1003 if opcode == 2 else 1002, "a frame that does not belong here")
                self.parts = (self.parts or b"") + payload
                if len(self.parts) > 64 << 10:
                    self._fail(1009, "a message that is too long")
                if final:
                    try:
                        texts.append(self.parts.decode())
                    except UnicodeDecodeError:
                        self._fail(1007, "text that is no UTF-8")
                    self.parts = None

    def _frame(self):
        """The next whole frame (RFC 6455, section 5.2): FIN, opcode, payload."""
        d = self.data
        if len(d) < 2:
            return None
        size, at = d[1] & 127, 2
        if size > 125:
            at = 4 if size == 126 else 10
            if len(d) < at:
                return None
            size = int.from_bytes(d[2:at], "big")
        final, opcode = d[0] >> 7, d[0] & 15
        if d[0] & 0x70 or d[1] & 0x80 or opcode > 7 and (size > 125 or not final) or 2 < opcode < 8 or opcode > 10:
            self._fail(1002, "a frame against the protocol")
        if size > 64 << 10:
            self._fail(1009, "a message that is too long")
        if len(d) < at + size:
            return None
        self.data = d[at + size:]
        return final, opcode, d[at:at + size]

    def _fail(self, code, what):
        self._end(code.to_bytes(2, "big"))
        raise _Trouble(f"the collector sends {what}")

    def _end(self, payload):
        self.send(8, payload)
        try:
            self.sock.send(self.out)
        except OSError:
            pass  # it has gone, or takes nothing

    def goodbye(self):
        """Closes with code 1000 and waits a moment for the answer."""
        self._end((1000).to_bytes(2, "big"))
        self.sock.settimeout(0.2)
        try:
            while self.sock.recv(4096):
                pass
        except OSError:
            pass

    def close(self):
        self.sock.close()


def frame(opcode, payload, mask):
    """A client's frame: FIN set, masked (RFC 6455, sections 5.2 and 5.3)."""
    n = len(payload)
    size = bytes([0x80 | n]) if n < 126 else b"\xfe" + n.to_bytes(2, "big") if n < 1 << 16 else b"\xff" + n.to_bytes(8, "big")
    key = (mask * (n // 4 + 1))[:n]
    masked = (int.from_bytes(payload, "big") ^ int.from_bytes(key, "big")).to_bytes(n, "big")
    return bytes([0x80 | opcode]) + size + mask + masked


def accept_for(key):
    """The answer to a key (RFC 6455, section 4.2.2)."""
    return base64.b64encode(hashlib.sha1(key.encode() + b"258EAFA5-E914-47DA-95CA-C5AB0DC85B11").digest()).decode()


def find_collectors(via=None, timeout=3.0, service="_afterbell._tcp.local"):
    """Asks the network for collectors and returns their addresses: one-shot multicast DNS (RFC 6762,
    section 5.1) for DNS-based service discovery (RFC 6763). `via` is the robot's address in the network
    to ask, when it is in several. Whoever is in that network can answer, and is then sent the token."""
    labels = b"".join(bytes([len(label)]) + label.encode() for label in service.split("."))
    question = struct.pack(">6H", 0, 0, 1, 0, 0, 0) + labels + b"\0" + struct.pack(">2H", 12, 0x8001)  # PTR, answer me alone
    found, asked, end = set(), 0.0, time.monotonic() + timeout
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
        if via:
            s.bind((via, 0))
            s.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(via))
        s.settimeout(0.1)
        while time.monotonic() < end:
            if time.monotonic() > asked + 1:
                asked = time.monotonic()
                s.sendto(question, ("224.0.0.251", 5353))
            try:
                found |= collectors_in(s.recv(9000), service)
            except (socket.timeout, ConnectionError):
                continue
            if found:
                end = min(end, time.monotonic() + 0.3)  # others may answer as well
    return sorted(found)


def collectors_in(data, service):
    """The addresses that an answer tells all of (RFC 1035, section 4.1; RFC 2782 for SRV)."""
    def name(at):
        parts, end = [], None
        for _ in range(128):  # a name that points in circles is none
            if data[at] >= 192:
                end, at = end or at + 2, (data[at] & 63) << 8 | data[at + 1]
            elif data[at]:
                parts.append(data[at + 1:at + 1 + data[at]].decode("utf-8", "replace").lower())
                at += 1 + data[at]
            else:
                return ".".join(parts), end or at + 1
        raise ValueError("a name without an end")

    try:
        _, flags, questions, *counts = struct.unpack_from(">6H", data)
        at, records = 12, []
        for _ in range(questions):
            at = name(at)[1] + 4
        for _ in range(sum(counts)):
            owner, at = name(at)
            kind, _, ttl, size = struct.unpack_from(">2HIH", data, at)
            at += 10 + size
            body = data[at - size:at]
            records.append((owner, kind, ttl, name(at - size)[0] if kind == 12 else (*struct.unpack_from(">3H", body), name(at - size + 6)[0])
                            if kind == 33 else socket.inet_ntoa(body) if kind == 1 else body))
    except (IndexError, ValueError, OSError, struct.error):
        return set()
    found = set()
    for instance in [r[3] for r in records if r[:2] == (service, 12) and r[2] and flags & 0x8000]:
        texts = {t for r in records if r[:2] == (instance, 16) for t in _texts(r[3])}
        path = next((t[5:] for t in texts if t.startswith("path=/")), "/v1/live")
        for _, _, port, host in [r[3] for r in records if r[:2] == (instance, 33)]:
            for address in [r[3] for r in records if r[:2] == (host, 1)][:1]:
                found.add(f"{'wss' if 'tls=1' in texts else 'ws'}://{address}:{port}{path}")
    return found


def _texts(body):
    while body:
        yield body[1:1 + body[0]].decode("utf-8", "replace")
        body = body[1 + body[0]:]
