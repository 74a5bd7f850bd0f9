// SPDX-License-Identifier: Apache-2.0

import java.io.File;
import java.io.FileOutputStream;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.WebSocket;
import java.net.http.WebSocketHandshakeException;
import java.nio.ByteBuffer;
import java.nio.channels.FileChannel;
import java.nio.channels.FileLock;
import java.nio.channels.OverlappingFileLockException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.nio.file.StandardOpenOption;
import java.time.Duration;
import java.util.ArrayDeque;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.UUID;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.CompletionStage;
import java.util.concurrent.ExecutionException;
import java.util.concurrent.LinkedBlockingQueue;
import java.util.concurrent.ThreadLocalRandom;
import java.util.concurrent.TimeUnit;
import java.util.function.LongSupplier;
import java.util.zip.CRC32;
import javax.net.ssl.SSLContext;

/**
 * Sends what a robot measures to the collector on the pit laptop ({@code afterbell collect}).
 *
 * <p>Copy this one file into the robot program, and put its package line on top. It needs Java 17 or
 * later and nothing else.
 *
 * <pre>{@code
 * var sender = AfterbellSender.to("ws://10.0.0.5:4151/v1/live", "heron").token("ab_...").start();
 * var volts = sender.float64("power/voltage [V]");     // once for each signal
 * var mode = sender.text("robot/mode");                // float64, int64, bool or text
 * while (running) {                                    // the control loop
 *   long now = sender.now();                           // microseconds, monotonic
 *   volts.record(now, battery.voltage());
 *   mode.record(now, "driver");
 * }
 * sender.close(Duration.ofSeconds(10));                // true: all of it is on the laptop's disk
 * }</pre>
 *
 * <p>What is promised:
 *
 * <ul>
 *   <li>{@code record} does no I/O, allocates nothing and never throws; it holds a lock for a few
 *       stores. Two daemon threads do the rest.
 *   <li>A batch is kept until the collector says that it is on its disk, and is sent again after a
 *       lost connection. The collector takes each batch once.
 *   <li>Memory is bounded. When {@code spoolBytes} are full, the oldest samples go and are counted as
 *       {@code lost}; when more than 65 536 samples or 1 MiB of text come between two batches, the
 *       newest, as {@code dropped}.
 *   <li>With {@code spoolDir} every batch is also written to a file there. What a program that was
 *       ended did not get rid of, the next one sends, under the name of its own start (boot). The file
 *       survives the program; of a loss of power the operating system may lose the last seconds, for
 *       the file is not synced. One program at a time uses the folder.
 * </ul>
 *
 * <p>Each start is a boot of its own, with a name of its own; a {@code boot} you give must be new each
 * time. Times are the robot's: any clock in microseconds that is monotonic, {@code System.nanoTime} by
 * default. The wire is described in schemas/live.md. The WebSocket is that of java.net.http.
 */
public final class AfterbellSender implements AutoCloseable {
  private static final String SUBPROTOCOL = "afterbell.live.v1";
  private static final System.Logger LOG = System.getLogger("afterbell");
  private static final long MAX_TIME = 9_000_000_000_000_000_000L; // the collector takes 9e12 s at most
  private static final int MAX_TEXT = 64 << 10; // bytes
  private static final int PAGE = 65_536, PAGE_TEXT = 1 << 20; // samples and characters between two batches
  private static final int MESSAGE = 256 << 10; // a batch ends when it is as long; far under 8 MiB with one more text
  private static final int FLYING = 64, FLYING_BYTES = 1 << 20; // on their way without an ack
  // Milliseconds: a handshake, a connection without a sign of life, a wait for an ack, from one clock
  // exchange to the next, after a refusal, and the bounds of the pause before connecting again.
  private static final long HANDSHAKE = 5000, SILENCE = 6000, ACK = 5000, CLOCK = 3000, PAUSE = 250, BACKOFF = 50, MOST_BACKOFF = 2000;

  /** What is to be sent where. Only the address and the robot are required. */
  public static final class Builder {
    private final String url, robot;
    private String source = "main", boot = UUID.randomUUID().toString(), token;
    private long spoolBytes = 64 << 20, everyMillis = 20;
    private Path spoolDir;
    private LongSupplier clock = () -> System.nanoTime() / 1000;
    private SSLContext ssl;

    private Builder(String url, String robot) {
      this.url = url;
      this.robot = robot;
    }

    public Builder source(String name) { source = name; return this; } // which computer of the robot
    public Builder boot(String text) { boot = text; return this; } // new for each start
    public Builder token(String text) { token = text; return this; } // of `afterbell collect token`
    public Builder spoolBytes(long n) { spoolBytes = n; return this; } // 64 MiB
    public Builder spoolDir(Path folder) { spoolDir = folder; return this; }
    public Builder everyMillis(long n) { everyMillis = n; return this; } // from one batch to the next
    public Builder clock(LongSupplier microseconds) { clock = microseconds; return this; }
    public Builder ssl(SSLContext context) { ssl = context; return this; } // for wss:// with your own certificate

    /**
     * Begins to connect in the background; the collector may come later.
     *
     * @throws IllegalArgumentException for what can never work
     * @throws IOException when the folder of the spool cannot be used
     */
    public AfterbellSender start() throws IOException {
      return new AfterbellSender(this);
    }
  }

  public static Builder to(String url, String robot) {
    return new Builder(url, robot);
  }

  /** Counts of samples (recorded = acked + waiting + lost + refused), and how things are. {@code earlier}
   * is what earlier programs left and is not acked yet. */
  public record Stats(long recorded, long acked, long waiting, long dropped, long unfit, long lost, long refused,
      long earlier, long batches, long spooledBytes, long connects, boolean connected, String trouble) {}

  private enum Kind { float64, int64, bool, text }

  private final LongSupplier clock;
  private final Map<String, Object> hello = new LinkedHashMap<>();
  private final Map<String, Signal> signals = new HashMap<>();
  private final Spool spool;
  private final List<Link> earlier = new ArrayList<>();
  private final List<Thread> threads = new ArrayList<>();
  private FileChannel guard; // its lock keeps other programs out of the folder
  private volatile boolean stop;

  private final Object recording = new Object(); // held for a few stores only
  private Page page = new Page(), spare = new Page();
  private long recorded, dropped, unfit;
  private boolean closed;
  private final Object cutting = new Object();
  private Long newest; // time of the newest sample that is in a batch

  private AfterbellSender(Builder b) throws IOException {
    if (!b.url.matches("wss?://[^/\\s]+(/\\S*)?") || URI.create(b.url).getHost() == null) {
      throw new IllegalArgumentException("the collector's address \"" + b.url + "\" is not of the form ws://HOST:PORT/v1/live");
    }
    URI address = URI.create(b.url);
    if (address.getPath().isEmpty() || address.getPath().equals("/")) {
      address = address.resolve("/v1/live");
    }
    if (b.spoolBytes < 64 << 10 || b.everyMillis < 1) {
      throw new IllegalArgumentException("spoolBytes must be at least 65536, and everyMillis at least 1");
    }
    if (b.token != null && !b.token.matches("[!-~]+")) {
      throw new IllegalArgumentException("the token is not what `afterbell collect token` printed");
    }
    if (b.boot.isEmpty() || utf8Length(b.boot) < 0 || utf8Length(b.boot) > 256) {
      throw new IllegalArgumentException("a boot is a text of 1 to 256 bytes");
    }
    clock = b.clock;
    hello.put("type", "hello");
    hello.put("robot", named("robot", b.robot));
    hello.put("source", named("source", b.source));
    hello.put("boot", b.boot);
    spool = new Spool(b.spoolBytes);
    HttpClient.Builder http = HttpClient.newBuilder().connectTimeout(Duration.ofMillis(HANDSHAKE)).proxy(HttpClient.Builder.NO_PROXY);
    if (b.ssl != null) {
      http.sslContext(b.ssl);
    }
    Link own = new Link(spool, hello, clock, address, b.token, http.build());
    if (b.spoolDir != null) {
      openFolder(b.spoolDir, own);
    }
    begin(() -> {
      while (!stop) {
        TimeUnit.MILLISECONDS.sleep(b.everyMillis);
        cut();
      }
    });
    begin(own::run);
    for (Link e : earlier) {
      begin(e::run);
    }
  }

  private interface Work { void run() throws InterruptedException; }

  private void begin(Work work) {
    Thread t = new Thread(() -> {
      try {
        work.run();
      } catch (InterruptedException e) {
        // the sender was closed
      }
    }, "afterbell");
    t.setDaemon(true);
    threads.add(t);
    t.start();
  }

  /** Takes up what earlier programs left in the folder, and begins this one's file. */
  private void openFolder(Path dir, Link own) throws IOException {
    Files.createDirectories(dir);
    guard = FileChannel.open(dir.resolve("lock"), StandardOpenOption.CREATE, StandardOpenOption.WRITE);
    FileLock lock = null;
    try {
      lock = guard.tryLock();
    } catch (OverlappingFileLockException e) {
      // another sender of this very program
    }
    if (lock == null) {
      guard.close();
      throw new IllegalArgumentException("the folder " + dir + " is the spool of a program that runs; give each sender its own");
    }
    File[] files = dir.toFile().listFiles((d, name) -> name.endsWith(".spool"));
    for (File f : files == null ? new File[0] : files) {
      Spool left = SpoolFile.read(f.toPath(), spool.limit);
      if (left == null) {
        continue;
      }
      Map<String, Object> theirs = new LinkedHashMap<>(left.hello);
      if (theirs.put("boot", hello.get("boot")).equals(hello.get("boot"))) {
        throw new IllegalArgumentException("boot \"" + hello.get("boot") + "\" is in " + dir + " already; each start needs another one");
      }
      if (theirs.equals(hello)) { // another robot's stays where it is
        earlier.add(new Link(left, left.hello, null, own.address, own.token, own.http)); // no clock: theirs may be gone
      }
    }
    spool.file = new SpoolFile(dir.resolve(UUID.randomUUID() + ".spool"), hello);
  }

  /** The robot's time in microseconds. */
  public long now() {
    return clock.getAsLong();
  }

  /** A signal of that type. A unit may ride on the name: "power/voltage [V]". Call it once for each signal,
   * not in the loop. A signal that cannot be is logged, and its samples are counted as unfit: a robot must
   * not stop for that. */
  public Signal float64(String name) { return signal(name, Kind.float64); }
  public Signal int64(String name) { return signal(name, Kind.int64); }
  public Signal bool(String name) { return signal(name, Kind.bool); }
  public Signal text(String name) { return signal(name, Kind.text); }

  private Signal signal(String name, Kind kind) {
    synchronized (signals) {
      String bare = name.strip().replaceFirst("[ \\t]+\\[[^\\[\\]]+\\]$", "");
      Signal known = signals.get(bare);
      if (known != null && known.name.equals(name) && known.kind == kind) {
        return known;
      }
      String error = null;
      if (known != null) {
        error = "it is there as \"" + known.name + "\", " + known.kind;
      } else if (bare.isEmpty() || utf8Length(bare) < 0 || utf8Length(bare) > 256 || utf8Length(name) > 1024) {
        error = "a name is Unicode of 1 to 256 bytes of UTF-8";
      } else if (signals.size() >= 10_000) {
        error = "more than 10000 signals; is a value part of a name?";
      }
      Signal g = new Signal(name, kind, error == null ? null : "signal \"" + name + "\": " + error);
      if (error == null) {
        signals.put(bare, g);
        spool.declare(name, kind.name());
      } else {
        LOG.log(System.Logger.Level.ERROR, "a signal cannot be sent: " + g.error);
      }
      return g;
    }
  }

  /** One thing that is measured. {@code record} takes a sample at a time of the robot's clock in
   * microseconds, and returns whether it was taken. */
  public final class Signal {
    private final String name, head;
    private final Kind kind;
    /** Why nothing of it can be sent, or null. */
    public final String error;
    private boolean warned;

    private Signal(String name, Kind kind, String error) {
      this.name = name;
      this.kind = kind;
      this.error = error;
      this.head = "[" + Json.quoted(name) + ",";
    }

    public boolean record(long timeUS, double v) {
      return put(this, Kind.float64, timeUS, Double.doubleToRawLongBits(v), null);
    }

    /** Of an int64 signal, or of a float64 one when the value is exact there. */
    public boolean record(long timeUS, long v) {
      if (kind == Kind.float64 && (long) (double) v == v && v != Long.MAX_VALUE) {
        return record(timeUS, (double) v);
      }
      return put(this, Kind.int64, timeUS, v, null);
    }

    public boolean record(long timeUS, boolean v) {
      return put(this, Kind.bool, timeUS, v ? 1 : 0, null);
    }

    /** Unicode of up to 64 KiB of UTF-8. */
    public boolean record(long timeUS, String v) {
      return put(this, v == null ? null : Kind.text, timeUS, 0, v);
    }
  }

  /** What was recorded between two batches. It does not grow, so that recording allocates nothing. */
  private static final class Page {
    final Signal[] signal = new Signal[PAGE];
    final long[] time = new long[PAGE], bits = new long[PAGE];
    final String[] text = new String[PAGE];
    final List<Object[]> marks = new ArrayList<>(); // {row, match message}
    int n, chars;
  }

  private boolean put(Signal g, Kind kind, long t, long bits, String text) {
    int bytes = text == null ? 0 : utf8Length(text);
    boolean fits = kind == g.kind && g.error == null && t <= MAX_TIME && t >= -MAX_TIME && bytes >= 0 && bytes <= MAX_TEXT;
    boolean warn;
    synchronized (recording) {
      if (fits && !closed) {
        Page p = page;
        if (p.n == PAGE || text != null && p.chars + text.length() > PAGE_TEXT) {
          dropped++;
          return false;
        }
        p.signal[p.n] = g;
        p.time[p.n] = t;
        p.bits[p.n] = bits;
        if (text != null) {
          p.text[p.n] = text;
          p.chars += text.length();
        }
        p.n++;
        recorded++;
        return true;
      }
      unfit++;
      warn = !g.warned && g.error == null && !closed;
      g.warned |= warn;
    }
    if (warn) {
      LOG.log(System.Logger.Level.ERROR, "a sample of \"" + g.name + "\" cannot be sent (said once): it is " + kind + " at " + t + ", or too long, or no Unicode");
    }
    return false;
  }

  /** Opens ("start") or closes ("end") a match by hand. All but state may be null: the collector then takes
   * its own event and the next name, and the time is that of the newest sample. The mode signal of the
   * robot's profile does that by itself, where it names one. */
  public void match(String state, String event, String match, Long atUS) {
    if (!state.equals("start") && !state.equals("end")) {
      throw new IllegalArgumentException("the state of a match is start or end, not \"" + state + "\"");
    }
    Map<String, Object> m = new LinkedHashMap<>();
    m.put("type", "match");
    m.put("state", state);
    if (event != null) {
      m.put("event", named("event", event));
    }
    if (match != null) {
      m.put("match", named("match", match));
    }
    if (atUS != null) {
      m.put("at_us", atUS);
    }
    synchronized (recording) {
      if (closed) {
        throw new IllegalStateException("the sender is closed");
      }
      page.marks.add(new Object[] {page.n, m});
    }
  }

  /** It may wait for the disk: not for the loop. */
  public Stats stats() {
    long left = 0;
    for (Link e : earlier) {
      synchronized (e.spool) {
        left += e.spool.batches.stream().mapToLong(b -> b.samples).sum();
      }
    }
    synchronized (spool) {
      synchronized (recording) {
        Spool p = spool;
        return new Stats(recorded, p.ackedSamples, recorded - p.ackedSamples - p.lost - p.refused, dropped, unfit, p.lost, p.refused,
            left, p.ackedBatches, p.bytes, p.connects, p.connected, p.trouble);
      }
    }
  }

  /** Takes no more samples and waits until everything is on the collector's disk, no longer than that. False
   * when something is not: it is in the folder of the spool, or lost. */
  public boolean close(Duration timeout) {
    synchronized (recording) {
      closed = true;
    }
    cut();
    boolean done = spool.drained(timeout.toMillis());
    stop = true;
    try {
      for (Thread t : threads) {
        t.join(2000);
      }
      if (spool.file != null) {
        spool.file.close(done);
        guard.close();
        spool.file = null;
      }
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    } catch (IOException e) {
      LOG.log(System.Logger.Level.WARNING, "closing the spool: " + e);
    }
    return done;
  }

  @Override
  public void close() {
    close(Duration.ofSeconds(10));
  }

  /** Makes batches of what was recorded. */
  private void cut() {
    synchronized (cutting) {
      Page p;
      synchronized (recording) {
        p = page;
        page = spare;
        spare = p;
      }
      StringBuilder body = new StringBuilder();
      List<String> before = new ArrayList<>();
      int from = 0, mark = 0;
      for (int i = 0; i <= p.n; i++) {
        for (; mark < p.marks.size() && (int) p.marks.get(mark)[0] == i; mark++) {
          if (i > from) {
            spool.push(before, body.toString(), i - from);
            body.setLength(0);
            before = new ArrayList<>();
            from = i;
          }
          @SuppressWarnings("unchecked")
          Map<String, Object> m = (Map<String, Object>) p.marks.get(mark)[1];
          if (newest != null) {
            m.putIfAbsent("at_us", newest); // now, and not when it arrives
          }
          before.add(Json.write(m));
        }
        if (i == p.n) {
          break;
        }
        body.append(i > from ? "," : "").append(p.signal[i].head).append(p.time[i]).append(',');
        appendValue(body, p.signal[i].kind, p.bits[i], p.text[i]);
        body.append(']');
        newest = newest == null ? p.time[i] : Math.max(newest, p.time[i]);
        if (body.length() > Math.min(MESSAGE, spool.limit / 4)) {
          spool.push(before, body.toString(), i + 1 - from);
          body.setLength(0);
          before = new ArrayList<>();
          from = i + 1;
        }
        p.text[i] = null;
      }
      if (p.n > from || !before.isEmpty()) { // a match message is durable with a later batch, even an empty one
        spool.push(before, body.toString(), p.n - from);
      }
      p.n = p.chars = 0;
      p.marks.clear();
    }
  }

  private static void appendValue(StringBuilder to, Kind kind, long bits, String text) {
    switch (kind) {
      case float64 -> {
        double v = Double.longBitsToDouble(bits);
        to.append(Double.isNaN(v) ? "\"nan\"" : v == Double.POSITIVE_INFINITY ? "\"inf\"" : v == Double.NEGATIVE_INFINITY ? "\"-inf\"" : Double.toString(v));
      }
      case int64 -> {
        boolean safe = bits > -(1L << 53) && bits < 1L << 53;
        to.append(safe ? "" : "\"").append(bits).append(safe ? "" : "\"");
      }
      case bool -> to.append(bits != 0);
      default -> to.append(Json.quoted(text));
    }
  }

  private static String named(String what, String name) {
    if (name == null || !name.matches("[a-z][a-z0-9._-]{0,63}")) {
      throw new IllegalArgumentException(what + " \"" + name + "\" is not a name: use 1 to 64 of a-z 0-9 . _ -, and begin with a letter");
    }
    return name;
  }

  /** Bytes of a text in UTF-8, -1 when a surrogate stands alone. */
  private static int utf8Length(String s) {
    int n = 0;
    for (int i = 0; i < s.length(); i++) {
      char c = s.charAt(i);
      if (Character.isHighSurrogate(c) && i + 1 < s.length() && Character.isLowSurrogate(s.charAt(i + 1))) {
        i++;
        n += 4;
      } else if (Character.isSurrogate(c)) {
        return -1;
      } else {
        n += c < 0x80 ? 1 : c < 0x800 ? 2 : 3;
      }
    }
    return n;
  }

  private static final class Batch {
    List<String> before; // match messages
    String body;
    int samples, refusals;
    long size;

    Batch(List<String> before, String body, int samples) {
      this.before = before;
      this.body = body;
      this.samples = samples;
      size = 128 + body.length() + before.stream().mapToInt(String::length).sum();
    }

    String message(long seq) {
      return "{\"type\":\"batch\",\"seq\":" + seq + ",\"samples\":[" + body + "]}";
    }
  }

  /** Why a connection ended. */
  private static final class Trouble extends Exception {
    private static final long serialVersionUID = 1;

    Trouble(String why) {
      super(why);
    }
  }

  /** The batches that the collector may not have, and which to send next. Batch first+i is the i-th; what is
   * asked for before first is sent empty: it was given up, or the collector that had it is gone. */
  private static final class Spool {
    final long limit;
    final List<String> names = new ArrayList<>(), types = new ArrayList<>();
    final ArrayDeque<Batch> batches = new ArrayDeque<>();
    SpoolFile file; // that it is written to
    Path path; // that it was read from, ...
    Map<String, Object> hello; // ... of the program that wrote it
    long first = 1, next = 1; // next is to be sent on this connection
    long acked, sent, alone, stale, gapAt, bytes;
    boolean warned, settled; // settled: a welcome has made the numbers final
    long ackedSamples, ackedBatches, lost, refused, connects;
    boolean connected;
    String trouble = "";

    Spool(long limit) {
      this.limit = limit;
    }

    synchronized void declare(String name, String type) {
      names.add(name);
      types.add(type);
      if (file != null) {
        file.write(signals(names.size() - 1));
      }
    }

    synchronized String signals(int from) {
      Map<String, Object> m = new LinkedHashMap<>();
      m.put("type", "signals");
      m.put("first", (long) from);
      m.put("names", names.subList(from, names.size()));
      m.put("types", types.subList(from, types.size()));
      return Json.write(m);
    }

    long last() {
      return first + batches.size() - 1;
    }

    synchronized void push(List<String> before, String body, int samples) {
      Batch b = new Batch(before, body, samples);
      batches.add(b);
      bytes += b.size;
      if (file != null) {
        file.batch(last(), b);
      }
      makeRoom();
      if (file != null) {
        file.trim(this);
      }
    }

    void makeRoom() {
      while (bytes > limit && batches.size() > 1) {
        Batch old = batches.poll();
        first++;
        bytes -= old.size;
        lost += old.samples;
        old.before.addAll(batches.peek().before); // a match message is not lost
        batches.peek().before = old.before;
        if (!warned) {
          warned = true;
          LOG.log(System.Logger.Level.WARNING, "the spool is full: the oldest samples go until the collector is there again");
        }
      }
    }

    synchronized void welcome(long durable) {
      if (path == null && durable > 0 && (!settled || durable > last())) {
        // It has batches of this boot that this program never sent. Ours come behind.
        first = Math.max(first, durable + 1);
        if (file != null) {
          file.rewrite(this);
        }
      }
      settled = true;
      drop(durable);
      acked = durable;
      next = durable + 1;
      stale = 0;
      sent = Math.max(sent, durable);
      connects++;
      connected = true;
      trouble = "";
    }

    private void drop(long durable) {
      for (; !batches.isEmpty() && first <= durable; first++) {
        Batch old = batches.poll();
        bytes -= old.size;
        ackedSamples += old.samples;
        ackedBatches++;
      }
      warned &= !batches.isEmpty();
      if (file != null) {
        file.ack(durable);
        file.trim(this);
      }
      notifyAll();
    }

    synchronized void ack(long durable) throws Trouble {
      if (durable > sent) {
        throw new Trouble("the collector acknowledges batch " + durable + ", and " + sent + " is the last that was sent");
      }
      if (durable > acked) {
        acked = durable;
        next = Math.max(next, durable + 1);
        if (gapAt <= durable) {
          stale = 0;
        }
        drop(durable);
      }
    }

    /** Goes back. Each batch on its way behind the hole brings one error, the first is enough. */
    synchronized void gap(long expected) throws Trouble {
      if (expected <= acked || expected > sent + 1) {
        throw new Trouble("the collector expects batch " + expected + " after it had " + acked + " of " + sent);
      }
      if (stale > 0 && expected == gapAt) {
        stale--;
      } else if (expected < next) {
        gapAt = expected;
        stale = next - 2 - expected;
        next = expected;
      }
    }

    synchronized void again() {
      next = acked + 1;
      stale = 0;
    }

    /** Something that was sent is not kept. An error does not say what it is about: one batch on its way is
     * it, else they go one at a time on a new connection. Refused twice, a batch is sent empty, so that
     * those behind it get through. */
    synchronized void refuse(String why) throws Trouble {
      long flying = next - 1 - acked;
      alone = Math.max(alone, next - 1);
      if (flying > 1) {
        throw new Trouble("the collector refused something; sending one batch at a time to find out what");
      }
      if (flying == 1 && acked + 1 == first && ++batches.peek().refusals > 1) {
        Batch b = batches.peek();
        LOG.log(System.Logger.Level.ERROR, "the collector refuses a batch; " + b.samples + " samples go: " + why);
        refused += b.samples;
        bytes -= b.body.length();
        b.size -= b.body.length();
        b.samples = 0;
        b.body = "";
      }
    }

    /** The messages of the next batch that may be on its way, or null. */
    synchronized List<String> take() {
      long flying = next - 1 - acked;
      if (next > last() || flying > 0 && (flying >= FLYING || acked < alone || flyingBytes() > FLYING_BYTES)) {
        return null;
      }
      Batch b = new Batch(List.of(), "", 0);
      if (next >= first) {
        b = batches.stream().skip(next - first).findFirst().get();
      }
      List<String> out = new ArrayList<>(b.before);
      out.add(b.message(next));
      sent = Math.max(sent, next++);
      return out;
    }

    private long flyingBytes() {
      return batches.stream().limit(Math.max(0, next - first)).mapToLong(b -> b.size).sum();
    }

    synchronized void lost(String why) {
      connected = false;
      trouble = why;
    }

    synchronized boolean drained(long millis) {
      long until = System.nanoTime() + millis * 1_000_000;
      try {
        for (long left; !batches.isEmpty() && (left = until - System.nanoTime()) > 0; ) {
          TimeUnit.NANOSECONDS.timedWait(this, left);
        }
      } catch (InterruptedException e) {
        Thread.currentThread().interrupt();
      }
      return batches.isEmpty();
    }
  }

  /** A spool's copy on disk: the messages of the wire, one a line, each behind its CRC-32. */
  private static final class SpoolFile {
    private final Path path;
    private final Map<String, Object> hello;
    private FileOutputStream f; // null when the disk has failed
    private long size;

    SpoolFile(Path path, Map<String, Object> hello) throws IOException {
      this.path = path;
      this.hello = hello;
      f = new FileOutputStream(path.toFile());
      write(Json.write(hello));
    }

    private static String crcOf(byte[] data) {
      CRC32 crc = new CRC32();
      crc.update(data);
      return String.format("%08x", crc.getValue());
    }

    void write(String message) {
      try {
        if (f != null) {
          byte[] text = message.getBytes(StandardCharsets.UTF_8);
          byte[] line = new byte[text.length + 10];
          System.arraycopy((crcOf(text) + " ").getBytes(StandardCharsets.US_ASCII), 0, line, 0, 9);
          System.arraycopy(text, 0, line, 9, text.length);
          line[line.length - 1] = '\n';
          f.write(line);
          size += line.length;
        }
      } catch (IOException e) {
        fail(e);
      }
    }

    private void fail(IOException e) {
      LOG.log(System.Logger.Level.ERROR, "the file of the spool cannot be written; going on in memory only: " + e);
      f = null;
    }

    void batch(long seq, Batch b) {
      b.before.forEach(this::write);
      write(b.message(seq));
    }

    void ack(long durable) {
      write("{\"type\":\"ack\",\"durable_seq\":" + durable + "}");
    }

    void trim(Spool p) {
      if (size > Math.max(2 * p.bytes, 1 << 20)) {
        rewrite(p);
      }
    }

    /** Leaves out what is acknowledged or given up. The new file takes the old one's place at once. */
    void rewrite(Spool p) {
      if (f == null) {
        return;
      }
      Path fresh = path.resolveSibling(path.getFileName() + ".new");
      try {
        f.close();
        f = new FileOutputStream(fresh.toFile());
        size = 0;
        write(Json.write(hello));
        write(p.signals(0));
        ack(p.first - 1);
        long seq = p.first;
        for (Batch b : p.batches) {
          batch(seq++, b);
        }
        if (f != null) {
          f.close();
          Files.move(fresh, path, StandardCopyOption.REPLACE_EXISTING);
          f = new FileOutputStream(path.toFile(), true);
        }
      } catch (IOException e) {
        fail(e);
      }
    }

    void close(boolean empty) throws IOException {
      if (f != null) {
        f.close();
      }
      if (empty) {
        Files.deleteIfExists(path);
      }
    }

    /** What an earlier program left, null when there is nothing to send. */
    static Spool read(Path path, long limit) throws IOException {
      Spool p = new Spool(limit);
      List<String> before = new ArrayList<>();
      int bad = 0;
      for (String line : Files.readString(path, StandardCharsets.ISO_8859_1).split("\n")) { // a byte a character
        byte[] text = line.length() < 9 ? new byte[0] : line.substring(9).getBytes(StandardCharsets.ISO_8859_1);
        if (text.length == 0 || !line.startsWith(crcOf(text) + " ")) {
          bad += line.isEmpty() ? 0 : 1; // the last line of a program that was killed, or damage
          continue;
        }
        String message = new String(text, StandardCharsets.UTF_8);
        Map<String, Object> m = Json.read(message);
        long durable = m.get("durable_seq") instanceof Long n ? n : 0, seq = m.get("seq") instanceof Long n ? n : 0;
        switch ((String) m.get("type")) {
          case "hello" -> p.hello = m;
          case "match" -> before.add(message);
          case "signals" -> {
            for (Object name : (List<?>) m.get("names")) {
              p.names.add((String) name);
            }
            for (Object type : (List<?>) m.get("types")) {
              p.types.add((String) type);
            }
          }
          case "ack" -> {
            for (; !p.batches.isEmpty() && p.first <= durable; p.first++) {
              p.batches.poll();
            }
            p.first = p.batches.isEmpty() ? Math.max(p.first, durable + 1) : p.first;
          }
          default -> {
            while (p.last() + 1 < seq) {
              p.batches.add(new Batch(new ArrayList<>(), "", 0)); // its line is damaged
            }
            String body = message.substring(message.indexOf('[') + 1, message.length() - 2);
            p.batches.add(new Batch(before, body, ((List<?>) m.get("samples")).size()));
            before = new ArrayList<>();
          }
        }
      }
      if (bad > 0) {
        LOG.log(System.Logger.Level.WARNING, bad + " lines of " + path + " cannot be read and are left out");
      }
      if (p.batches.isEmpty() && (p.hello != null || bad == 0)) {
        Files.deleteIfExists(path); // all of it is on the collector's disk
      }
      if (p.batches.isEmpty() || p.hello == null) {
        return null;
      }
      p.bytes = p.batches.stream().mapToLong(b -> b.size).sum();
      p.path = path;
      p.settled = true;
      p.sent = p.last();
      p.makeRoom();
      return p;
    }
  }

  /** Connects a spool with the collector, again and again. */
  private final class Link {
    final Spool spool;
    final Map<String, Object> hello;
    final LongSupplier clock; // null: that clock is gone
    final URI address;
    final String token;
    final HttpClient http;

    // Of the connection that is open.
    private boolean welcomed;
    private Long asked; // T0 of the clock exchange under way
    private long pausedUntil, diskPause;

    Link(Spool spool, Map<String, Object> hello, LongSupplier clock, URI address, String token, HttpClient http) {
      this.spool = spool;
      this.hello = hello;
      this.clock = clock;
      this.address = address;
      this.token = token;
      this.http = http;
    }

    private boolean sentLeftover() {
      return spool.path != null && spool.drained(0);
    }

    void run() throws InterruptedException {
      String said = "";
      for (int attempt = 0; !stop && !sentLeftover(); attempt++) {
        long began = millis(), acked = spool.acked;
        try {
          session();
        } catch (Trouble | IOException | RuntimeException e) { // whatever it is, trying again is all that can be done
          String why = address + ": " + (e instanceof Trouble ? e.getMessage() : e);
          spool.lost(why);
          if (!why.equals(said)) {
            said = why;
            LOG.log(System.Logger.Level.WARNING, "no connection to the collector; trying again and again: " + why);
          }
        }
        if (spool.acked > acked || millis() - began > 2 * MOST_BACKOFF) {
          attempt = 0; // it was a good connection
        }
        // Exponential, with full jitter: robots that lost the same radio come back one by one.
        long pause = ThreadLocalRandom.current().nextLong(Math.min(MOST_BACKOFF, BACKOFF << Math.min(attempt, 16)) + 1);
        for (long until = millis() + pause; !stop && millis() < until; ) {
          TimeUnit.MILLISECONDS.sleep(Math.min(20, pause));
        }
      }
      if (sentLeftover()) {
        try {
          Files.deleteIfExists(spool.path);
        } catch (IOException e) {
          LOG.log(System.Logger.Level.WARNING, "a spool that was sent cannot be removed: " + e);
        }
      }
    }

    private static long millis() {
      return System.nanoTime() / 1_000_000;
    }

    private void session() throws InterruptedException, Trouble, IOException {
      welcomed = false;
      asked = null;
      pausedUntil = 0;
      diskPause = PAUSE;
      int numbered = 0;
      Connection c = new Connection(clock);
      WebSocket ws = open(c);
      try {
        c.out.add(Json.write(hello));
        long began = millis(), heard = began, moved = began, duePing = began + SILENCE / 3, dueClock = began, acked = -1;
        while (!stop && !sentLeftover()) {
          long now = millis();
          if (welcomed && clock != null && now >= dueClock) {
            asked = clock.getAsLong();
            c.out.add("{\"type\":\"clock\",\"t0_us\":" + asked + "}");
            dueClock = now + CLOCK;
          }
          if (now >= duePing) {
            c.out.add(Connection.PING);
            duePing = now + SILENCE / 3;
          }
          if (welcomed && now >= pausedUntil && c.out.isEmpty()) {
            if (pausedUntil > 0 || now - moved > ACK && spool.next > spool.acked + 1) {
              spool.again(); // a pause is over, or no ack has come for long
              pausedUntil = 0;
              moved = now;
            }
            List<String> messages = spool.take();
            if (messages != null) {
              int all = spool.names.size(); // signals only come in addition
              if (all > numbered) {
                c.out.add(spool.signals(numbered));
                numbered = all;
              }
              c.out.addAll(messages);
            }
          }
          c.pump(ws);
          for (Event e = c.events.poll(20, TimeUnit.MILLISECONDS); e != null; e = c.events.poll()) {
            heard = e.sent ? heard : millis();
            moved = e.sent && c.batch ? millis() : moved; // a ping that has gone is no progress
            if (e.text != null) {
              take(c, e);
              ws.request(1); // the next one comes when this one is done
            } else if (e.why != null) {
              if (List.of(1002, 1003, 1007, 1009).contains(e.closed)) {
                spool.refuse(e.why);
              }
              throw new Trouble(e.why);
            }
            c.pump(ws);
          }
          if (spool.acked != acked || spool.next == spool.acked + 1) {
            acked = spool.acked;
            moved = millis();
          }
          if (now - heard > SILENCE || !welcomed && now - began > HANDSHAKE) {
            throw new Trouble("the collector does not answer");
          }
        }
        c.goodbye(ws);
      } finally {
        if (!c.ended) { // else the library answers, and then it closes
          ws.abort();
        }
      }
    }

    private WebSocket open(Connection c) throws InterruptedException, Trouble, IOException {
      WebSocket.Builder b = http.newWebSocketBuilder().connectTimeout(Duration.ofMillis(HANDSHAKE)).subprotocols(SUBPROTOCOL);
      if (token != null) {
        b.header("Authorization", "Bearer " + token);
      }
      CompletableFuture<WebSocket> opening = b.buildAsync(address, c);
      try {
        WebSocket ws = opening.get(HANDSHAKE, TimeUnit.MILLISECONDS);
        if (ws.getSubprotocol().equals(SUBPROTOCOL)) {
          return ws;
        }
        ws.abort();
        throw new Trouble("what answers there is no collector");
      } catch (ExecutionException e) {
        if (e.getCause() instanceof WebSocketHandshakeException h && h.getResponse().statusCode() != 101) {
          int status = h.getResponse().statusCode();
          throw new Trouble("it answers " + status + (status == 401 ? "; give the token of the collector" : ""));
        }
        throw new Trouble(e.getCause() instanceof WebSocketHandshakeException ? "what answers there is no collector" : e.getCause().toString());
      } catch (java.util.concurrent.TimeoutException e) {
        opening.whenComplete((ws, failed) -> {
          if (ws != null) {
            ws.abort();
          }
        });
        throw new Trouble("no answer for " + HANDSHAKE + " ms");
      }
    }

    /** Takes up what the collector says. Types that are not known are passed over. */
    private void take(Connection c, Event e) throws Trouble {
      Map<String, Object> m;
      try {
        m = Json.read(e.text);
        String type = String.valueOf(m.get("type")), code = String.valueOf(m.get("code")), why = String.valueOf(m.get("message"));
        if (type.equals("welcome") && !welcomed) {
          spool.welcome(count(m, "durable_seq"));
          welcomed = true;
        } else if (type.equals("ack")) {
          spool.ack(count(m, "durable_seq"));
          diskPause = PAUSE;
        } else if (type.equals("clock") && asked != null && asked.equals(m.get("t0_us"))) {
          if (e.at >= asked) {
            c.out.addFirst("{\"type\":\"clock\",\"t0_us\":" + asked + ",\"t3_us\":" + e.at + "}");
          }
          asked = null;
        } else if (type.equals("error") && code.equals("storage")) {
          LOG.log(System.Logger.Level.WARNING, "the collector's disk takes nothing now; keeping everything here: " + why);
          pausedUntil = millis() + diskPause;
          diskPause = Math.min(2 * diskPause, MOST_BACKOFF);
        } else if (type.equals("error") && !welcomed) {
          throw new Trouble("the collector refuses robot " + hello.get("robot") + ": " + why);
        } else if (type.equals("error") && code.equals("gap")) {
          spool.gap(count(m, "expected"));
        } else if (type.equals("error") && code.equals("bad_name")) { // of a match; the batches do not depend on it
          LOG.log(System.Logger.Level.ERROR, "the collector refuses a name: " + why);
        } else if (type.equals("error")) {
          LOG.log(System.Logger.Level.WARNING, "the collector refuses something: " + code + ": " + why);
          pausedUntil = millis() + PAUSE;
          spool.refuse(why);
        }
      } catch (IllegalArgumentException bad) {
        throw new Trouble("the collector sends what cannot be read: " + e.text.substring(0, Math.min(80, e.text.length())) + " (" + bad.getMessage() + ")");
      }
    }

    private static long count(Map<String, Object> m, String key) {
      if (m.get(key) instanceof Long n && n >= 0 && n <= 1L << 53) {
        return n;
      }
      throw new IllegalArgumentException(key + " is no number of a batch");
    }
  }

  /** What happens on a connection: text came (at that robot time), something was sent, it ended (why), or just a sign of life. */
  private record Event(String text, long at, boolean sent, int closed, String why) {}

  /** The listener hands everything to the thread of its link, which alone sends: one message at a time, the
   * next when the network has taken it. */
  private static final class Connection implements WebSocket.Listener {
    static final String PING = "";
    final LinkedBlockingQueue<Event> events = new LinkedBlockingQueue<>();
    final ArrayDeque<String> out = new ArrayDeque<>();
    private final LongSupplier clock;
    private final StringBuilder parts = new StringBuilder();
    private CompletableFuture<WebSocket> sending;
    boolean batch; // what was sent last is one
    volatile boolean ended; // by the collector, with a close message

    Connection(LongSupplier clock) {
      this.clock = clock;
    }

    void pump(WebSocket ws) {
      if (out.isEmpty() || sending != null && !sending.isDone()) {
        return;
      }
      String message = out.poll();
      batch = message.startsWith("{\"type\":\"batch\"");
      sending = message.equals(PING) ? ws.sendPing(ByteBuffer.allocate(0)) : ws.sendText(message, true);
      sending.whenComplete((w, failed) -> events.add(new Event(null, 0, failed == null, -1, failed == null ? null : "sending: " + failed)));
    }

    /** Closes with code 1000 and waits a moment for the answer. */
    void goodbye(WebSocket ws) throws InterruptedException {
      long until = Link.millis() + 200;
      while (sending != null && !sending.isDone() && Link.millis() < until) {
        events.poll(5, TimeUnit.MILLISECONDS);
      }
      ws.sendClose(WebSocket.NORMAL_CLOSURE, "");
      for (Event e = null; (e == null || e.closed < 0) && Link.millis() < until && !ws.isInputClosed(); ) {
        e = events.poll(20, TimeUnit.MILLISECONDS);
      }
    }

    @Override
    public CompletionStage<?> onText(WebSocket ws, CharSequence data, boolean last) {
      long at = clock == null ? 0 : clock.getAsLong(); // before anything else takes time
      parts.append(data);
      if (parts.length() > 64 << 10) {
        events.add(new Event(null, 0, false, -1, "the collector sends a message that is too long"));
      } else if (last) {
        events.add(new Event(parts.toString(), at, false, -1, null));
        parts.setLength(0);
      } else {
        ws.request(1);
      }
      return null;
    }

    @Override
    public CompletionStage<?> onBinary(WebSocket ws, ByteBuffer data, boolean last) {
      events.add(new Event(null, 0, false, -1, "the collector sends a binary message, which means nothing here"));
      return null;
    }

    @Override
    public CompletionStage<?> onPing(WebSocket ws, ByteBuffer data) { // the library answers
      return onPong(ws, data);
    }

    @Override
    public CompletionStage<?> onPong(WebSocket ws, ByteBuffer data) {
      events.add(new Event(null, 0, false, -1, null));
      ws.request(1);
      return null;
    }

    @Override
    public CompletionStage<?> onClose(WebSocket ws, int code, String reason) {
      ended = true;
      events.add(new Event(null, 0, false, code, "the collector closed the connection: " + code + " " + reason));
      return null;
    }

    @Override
    public void onError(WebSocket ws, Throwable why) {
      events.add(new Event(null, 0, false, -1, why.toString()));
    }
  }

  /** As much of JSON (RFC 8259) as the wire needs: whole numbers are Long, others Double. */
  private static final class Json {
    private final String s;
    private int at, depth;

    private Json(String s) {
      this.s = s;
    }

    @SuppressWarnings("unchecked")
    static Map<String, Object> read(String text) {
      Json j = new Json(text);
      Object v = j.value();
      if (j.peek() != 0 || !(v instanceof Map)) {
        throw new IllegalArgumentException("not one JSON object");
      }
      return (Map<String, Object>) v;
    }

    private char peek() {
      while (at < s.length() && " \t\r\n".indexOf(s.charAt(at)) >= 0) {
        at++;
      }
      return at < s.length() ? s.charAt(at) : 0;
    }

    private boolean take(char c) {
      boolean is = peek() == c;
      at += is ? 1 : 0;
      return is;
    }

    private void must(boolean ok) {
      if (!ok) {
        throw new IllegalArgumentException("no JSON at character " + at);
      }
    }

    private Object value() {
      must(++depth < 64);
      Object v;
      if (take('{')) {
        Map<String, Object> map = new LinkedHashMap<>();
        if (!take('}')) {
          do {
            String key = string();
            must(take(':'));
            map.put(key, value());
          } while (take(','));
          must(take('}'));
        }
        v = map;
      } else if (take('[')) {
        List<Object> list = new ArrayList<>();
        if (!take(']')) {
          do {
            list.add(value());
          } while (take(','));
          must(take(']'));
        }
        v = list;
      } else if (peek() == '"') {
        v = string();
      } else {
        int from = at;
        while (at < s.length() && ",]} \t\r\n".indexOf(s.charAt(at)) < 0) {
          at++;
        }
        String word = s.substring(from, at);
        boolean whole = word.matches("-?(0|[1-9][0-9]*)");
        must(whole || word.matches("true|false|null|-?(0|[1-9][0-9]*)(\\.[0-9]+)?([eE][+-]?[0-9]+)?"));
        v = whole ? (Object) Long.valueOf(word) : word.equals("null") ? null : "tf".indexOf(word.charAt(0)) >= 0 ? (Object) word.equals("true") : (Object) Double.valueOf(word);
      }
      depth--;
      return v;
    }

    private String string() {
      must(take('"'));
      StringBuilder b = new StringBuilder();
      while (true) {
        must(at < s.length() && s.charAt(at) >= ' ');
        char c = s.charAt(at++);
        if (c == '"') {
          return b.toString();
        }
        if (c == '\\') {
          must(at < s.length());
          c = s.charAt(at++);
          int plain = "\"\\/bfnrt".indexOf(c);
          must(plain >= 0 || c == 'u' && at + 4 <= s.length());
          if (plain >= 0) {
            c = "\"\\/\b\f\n\r\t".charAt(plain);
          } else {
            c = (char) Integer.parseInt(s.substring(at, at + 4), 16);
            at += 4;
          }
        }
        b.append(c);
      }
    }

    static String quoted(String s) {
      StringBuilder b = new StringBuilder(s.length() + 2).append('"');
      for (int i = 0; i < s.length(); i++) {
        char c = s.charAt(i);
        if (c == '"' || c == '\\') {
          b.append('\\').append(c);
        } else if (c < ' ') {
          b.append(String.format("\\u%04x", (int) c));
        } else {
          b.append(c);
        }
      }
      return b.append('"').toString();
    }

    static String write(Object v) {
      if (v instanceof Map<?, ?> m) {
        List<String> parts = new ArrayList<>();
        m.forEach((k, x) -> parts.add(quoted((String) k) + ":" + write(x)));
        return "{" + String.join(",", parts) + "}";
      }
      if (v instanceof List<?> l) {
        return "[" + String.join(",", l.stream().map(Json::write).toList()) + "]";
      }
      return v instanceof String s ? quoted(s) : String.valueOf(v);
    }
  }
}
