import java.io.BufferedReader;
import java.io.FileInputStream;
import java.io.InputStreamReader;
import java.lang.management.ManagementFactory;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.security.KeyStore;
import java.security.cert.CertificateFactory;
import java.time.Duration;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.HexFormat;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import java.util.concurrent.atomic.AtomicLong;
import javax.net.ssl.SSLContext;
import javax.net.ssl.TrustManagerFactory;

/** A robot that does what it is told, a line at a time: see drive_test.go for the commands. */
public final class Drive {
  public static void main(String[] args) throws Exception {
    Locale.setDefault(Locale.GERMANY); // which writes numbers with a comma
    Map<String, String> o = new HashMap<>();
    for (int i = 0; i < args.length; i += 2) {
      o.put(args[i].substring(2), args[i + 1]);
    }
    AfterbellSender sender;
    try {
      sender = sender(o);
    } catch (IllegalArgumentException e) {
      System.out.println("refused " + e.getMessage());
      return;
    }
    System.out.println("ready");
    List<AfterbellSender.Signal> signals = new ArrayList<>();
    BufferedReader in = new BufferedReader(new InputStreamReader(System.in, StandardCharsets.US_ASCII));
    for (String line; (line = in.readLine()) != null; ) {
      String[] a = line.strip().split(" ");
      switch (a[0]) {
        case "signal" -> {
          String name = unhex(a, 2);
          signals.add(switch (a[1]) {
            case "float64" -> sender.float64(name);
            case "int64" -> sender.int64(name);
            case "bool" -> sender.bool(name);
            default -> sender.text(name);
          });
        }
        case "float64" -> signals.get(index(a)).record(at(a), Double.longBitsToDouble(Long.parseUnsignedLong(a[3], 16)));
        case "int64" -> signals.get(index(a)).record(at(a), Long.parseLong(a[3]));
        case "bool" -> signals.get(index(a)).record(at(a), a[3].equals("true"));
        case "text" -> signals.get(index(a)).record(at(a), unhex(a, 3));
        case "broken" -> signals.get(index(a)).record(at(a), "lone \ud834");
        case "match" -> sender.match(a[1], orNull(a[2]), orNull(a[3]), orNull(a[4]) == null ? null : Long.valueOf(a[4]));
        case "error" -> System.out.println(signals.get(index(a)).error == null ? "-" : signals.get(index(a)).error);
        case "now" -> System.out.println(sender.now());
        case "stats" -> System.out.println(stats(sender.stats()));
        case "close" -> System.out.println("closed " + sender.close(Duration.ofNanos((long) (Double.parseDouble(a[1]) * 1e9))));
        case "bench" -> bench(signals.get(0), Integer.parseInt(a[1]));
        default -> throw new IllegalArgumentException(line);
      }
    }
  }

  private static AfterbellSender sender(Map<String, String> o) throws Exception {
    AfterbellSender.Builder b = AfterbellSender.to(o.get("url"), o.get("robot"));
    long ahead = Long.parseLong(o.getOrDefault("ahead", "0"));
    b.clock(() -> System.nanoTime() / 1000 + ahead);
    if (o.containsKey("source")) {
      b.source(o.get("source"));
    }
    if (o.containsKey("boot")) {
      b.boot(o.get("boot"));
    }
    if (o.containsKey("token")) {
      b.token(o.get("token"));
    }
    if (o.containsKey("spool-bytes")) {
      b.spoolBytes(Long.parseLong(o.get("spool-bytes")));
    }
    if (o.containsKey("spool-dir")) {
      b.spoolDir(Path.of(o.get("spool-dir")));
    }
    if (o.containsKey("ca")) {
      KeyStore known = KeyStore.getInstance(KeyStore.getDefaultType());
      known.load(null, null);
      try (FileInputStream in = new FileInputStream(o.get("ca"))) {
        known.setCertificateEntry("collector", CertificateFactory.getInstance("X.509").generateCertificate(in));
      }
      TrustManagerFactory trust = TrustManagerFactory.getInstance(TrustManagerFactory.getDefaultAlgorithm());
      trust.init(known);
      SSLContext ssl = SSLContext.getInstance("TLS");
      ssl.init(null, trust.getTrustManagers(), null);
      b.ssl(ssl);
    }
    return b.start();
  }

  private static int index(String[] a) {
    return Integer.parseInt(a[1]);
  }

  private static long at(String[] a) {
    return Long.parseLong(a[2]);
  }

  private static String orNull(String s) {
    return s.equals("-") ? null : s;
  }

  private static String unhex(String[] a, int i) {
    return i < a.length ? new String(HexFormat.of().parseHex(a[i]), StandardCharsets.UTF_8) : "";
  }

  private static String stats(AfterbellSender.Stats s) {
    String trouble = s.trouble().replace("\\", "\\\\").replace("\"", "\\\"").replaceAll("[\\x00-\\x1f]", " ");
    return String.format("{\"recorded\":%d,\"acked\":%d,\"waiting\":%d,\"dropped\":%d,\"unfit\":%d,\"lost\":%d,\"refused\":%d,\"earlier\":%d,"
            + "\"batches\":%d,\"spooled_bytes\":%d,\"connects\":%d,\"connected\":%b,\"trouble\":\"%s\"}",
        s.recorded(), s.acked(), s.waiting(), s.dropped(), s.unfit(), s.lost(), s.refused(), s.earlier(),
        s.batches(), s.spooledBytes(), s.connects(), s.connected(), trouble);
  }

  /** A control loop of 100 samples each millisecond: what a sample takes and allocates in it, and beside it what
   * adding to an atomic counter takes. */
  private static void bench(AfterbellSender.Signal signal, int rounds) throws InterruptedException {
    var threads = (com.sun.management.ThreadMXBean) ManagementFactory.getThreadMXBean();
    AtomicLong counter = new AtomicLong();
    long busy = 0, peer = 0, longest = 0, bytes = 0, id = Thread.currentThread().getId();
    for (int i = 0; i < rounds; i++) {
      long b0 = threads.getThreadAllocatedBytes(id), t0 = System.nanoTime();
      for (int k = 0; k < 100; k++) {
        signal.record(100L * i + k, 12.5);
      }
      long t1 = System.nanoTime(), b1 = threads.getThreadAllocatedBytes(id);
      for (int k = 0; k < 100; k++) {
        counter.incrementAndGet();
      }
      peer += System.nanoTime() - t1;
      busy += t1 - t0;
      bytes += b1 - b0;
      longest = Math.max(longest, t1 - t0);
      Thread.sleep(1);
    }
    double n = rounds * 100.0;
    System.out.println(String.format(Locale.ROOT, "{\"ns\":%f,\"peer_ns\":%f,\"longest_us\":%f,\"bytes\":%f}", busy / n, peer / n, longest / 1e3, bytes / n));
  }
}
