"""A robot that does what it is told, a line at a time: see drive_test.go for the commands."""

import argparse
import json
import os
import ssl
import struct
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), ".."))
import afterbell_sender as afterbell  # noqa: E402

KINDS = {"float64": float, "int64": int, "bool": bool, "text": str}


def main():
    p = argparse.ArgumentParser()
    for name in ("url", "robot", "source", "boot", "token", "spool-dir", "ca", "service"):
        p.add_argument("--" + name)
    p.add_argument("--spool-bytes", type=int)
    p.add_argument("--ahead", type=int, default=0)
    o = vars(p.parse_args())
    ahead, ca, service = o.pop("ahead"), o.pop("ca"), o.pop("service")
    if service:
        find = afterbell.find_collectors
        afterbell.find_collectors = lambda via: find(via, service=service)
    if ca:
        o["ssl_context"] = ssl.create_default_context(cafile=ca)
    try:
        sender = afterbell.Sender(clock=lambda: time.monotonic_ns() // 1000 + ahead, **{k: v for k, v in o.items() if v is not None})
    except ValueError as e:
        print("refused", e, flush=True)
        return
    print("ready", flush=True)
    signals = []
    for line in sys.stdin:
        what, *args = line.split()
        if what == "signal":
            signals.append(sender.signal(bytes.fromhex("".join(args[1:])).decode(), KINDS[args[0]]))
        elif what in ("float64", "int64", "bool", "text", "broken"):
            signal, at = signals[int(args[0])], int(args[1])
            if what == "float64":
                value = struct.unpack(">d", bytes.fromhex(args[2]))[0]
            elif what == "int64":
                value = int(args[2])
            elif what == "bool":
                value = args[2] == "true"
            else:
                value = "lone \ud834" if what == "broken" else bytes.fromhex(args[2] if len(args) > 2 else "").decode()
            signal.record(at, value)
        elif what == "match":
            state, event, match, at = (None if a == "-" else a for a in args)
            sender.match(state, event or "", match or "", at and int(at))
        elif what == "error":
            print(signals[int(args[0])].error or "-", flush=True)
        elif what == "now":
            print(sender.now(), flush=True)
        elif what == "stats":
            print(json.dumps(sender.stats()), flush=True)
        elif what == "close":
            print("closed", str(sender.close(float(args[0]))).lower(), flush=True)
        elif what == "accept":
            print(afterbell.accept_for(args[0]), flush=True)
        elif what == "frame":
            print(afterbell.frame(int(args[0]), bytes.fromhex(args[2] if len(args) > 2 else ""), bytes.fromhex(args[1])).hex(), flush=True)
        elif what == "collectors":
            print(" ".join(sorted(afterbell.collectors_in(bytes.fromhex(args[0]), args[1]))) or "-", flush=True)
        elif what == "bench":
            bench(sender, signals[0], int(args[0]))


def bench(sender, signal, rounds):
    """A control loop of 100 samples each millisecond: what a sample takes in it, and beside it what
    appending to a list takes."""
    busy, peer, longest, kept = 0, 0, 0, []
    for i in range(rounds):
        t0 = time.perf_counter_ns()
        for k in range(100):
            signal.record(100 * i + k, 12.5)
        t1 = time.perf_counter_ns()
        for k in range(100):
            kept.append((signal, 100 * i + k, 12.5))
        peer += time.perf_counter_ns() - t1
        busy += t1 - t0
        longest = max(longest, t1 - t0)
        kept.clear()
        time.sleep(0.001)
    n = rounds * 100
    print(json.dumps({"ns": busy / n, "peer_ns": peer / n, "longest_us": longest / 1000, "bytes": -1}), flush=True)


main()
