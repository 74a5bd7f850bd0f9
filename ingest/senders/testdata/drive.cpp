// A robot that does what it is told, a line at a time: see drive_test.go for the commands.

#include "../afterbell_sender.hpp"

#include <clocale>
#include <cstdlib>
#include <iostream>
#include <new>

namespace {

thread_local std::uint64_t allocated = 0;

double seconds(const std::string &s) { return std::stod(s); }

std::string unhex(const std::string &s) {
  std::string out;
  for (std::size_t i = 0; i + 1 < s.size(); i += 2) out += static_cast<char>(std::stoi(s.substr(i, 2), nullptr, 16));
  return out;
}

std::string hex(const std::string &s) {
  std::string out;
  for (const char c : s) {
    char two[3];
    std::snprintf(two, sizeof two, "%02x", static_cast<unsigned char>(c));
    out += two;
  }
  return out;
}

std::string stats(const afterbell::Stats &s) {
  std::ostringstream out;
  out.imbue(std::locale::classic());
  out << "{\"recorded\":" << s.recorded << ",\"acked\":" << s.acked << ",\"waiting\":" << s.waiting << ",\"dropped\":" << s.dropped
      << ",\"unfit\":" << s.unfit << ",\"lost\":" << s.lost << ",\"refused\":" << s.refused << ",\"batches\":" << s.batches
      << ",\"spooled_bytes\":" << s.spooled_bytes << ",\"connects\":" << s.connects << ",\"connected\":" << (s.connected ? "true" : "false")
      << ",\"trouble\":" << afterbell::detail::quoted(s.trouble) << "}";
  return out.str();
}

// A control loop of 100 samples each millisecond: what a sample takes and allocates in it, and beside it
// what adding to an atomic counter takes.
void bench(afterbell::Signal signal, int rounds) {
  using Clock = std::chrono::steady_clock;
  std::atomic<std::int64_t> counter{0};
  std::chrono::nanoseconds busy{0}, peer{0}, longest{0};
  std::uint64_t bytes = 0;
  for (int i = 0; i < rounds; i++) {
    const auto before = allocated;
    const auto t0 = Clock::now();
    for (int k = 0; k < 100; k++) signal.record(100L * i + k, 12.5);
    const auto t1 = Clock::now();
    for (int k = 0; k < 100; k++) counter++;
    peer += Clock::now() - t1;
    busy += t1 - t0;
    longest = std::max<std::chrono::nanoseconds>(longest, t1 - t0);
    bytes += allocated - before;
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  }
  const double n = rounds * 100.0;
  std::cout << "{\"ns\":" << static_cast<double>(busy.count()) / n << ",\"peer_ns\":" << static_cast<double>(peer.count()) / n
            << ",\"longest_us\":" << static_cast<double>(longest.count()) / 1e3 << ",\"bytes\":" << static_cast<double>(bytes) / n << "}" << std::endl;
}

}  // namespace

#if defined(__GNUC__)
#define APART __attribute__((noinline))  // else the compiler sees free() where it expects delete
#else
#define APART
#endif

APART void *operator new(std::size_t n) {
  allocated += n;
  if (void *p = std::malloc(n)) return p;
  throw std::bad_alloc();
}
APART void operator delete(void *p) noexcept { std::free(p); }
APART void operator delete(void *p, std::size_t) noexcept { std::free(p); }

int main(int argc, char **argv) {
  for (const char *name : {"de_DE.UTF-8", "de_DE.utf8", "de_DE"}) {  // which write numbers with a comma, where they are
    if (std::setlocale(LC_ALL, name)) break;
  }
  struct Comma : std::numpunct<char> {
    char do_decimal_point() const override { return ','; }
    char do_thousands_sep() const override { return '.'; }
    std::string do_grouping() const override { return "\3"; }
  };
  std::map<std::string, std::string> o;
  for (int i = 1; i + 1 < argc; i += 2) o[argv[i] + 2] = argv[i + 1];
  std::unique_ptr<afterbell::Sender> sender;
  try {
    afterbell::Options options(o["url"], o["robot"]);
    if (o.count("source")) options.source = o["source"];
    if (o.count("boot")) options.boot = o["boot"];
    if (o.count("boot") && o["boot"].empty()) throw std::invalid_argument("boot: empty is a random one here");
    options.token = o["token"];
    if (o.count("spool-bytes")) options.spool_bytes = std::stoul(o["spool-bytes"]);
    const std::int64_t ahead = o.count("ahead") ? std::stoll(o["ahead"]) : 0;
    options.clock = [ahead] { return ahead + std::chrono::duration_cast<std::chrono::microseconds>(std::chrono::steady_clock::now().time_since_epoch()).count(); };
    sender = std::make_unique<afterbell::Sender>(options);
  } catch (const std::invalid_argument &e) {
    std::cout << "refused " << e.what() << std::endl;
    return 0;
  }
  std::cout << "ready" << std::endl;
  const std::locale plain = std::locale::classic();
  std::locale::global(std::locale(plain, new Comma));  // of streams that are made from here on
  std::vector<afterbell::Signal> signals;
  for (std::string line; std::getline(std::cin, line);) {
    std::vector<std::string> a;
    for (std::istringstream words(line); words >> line;) a.push_back(line);
    const std::string what = a[0];
    a.resize(6);
    const auto at = [&] { return static_cast<std::int64_t>(std::stoll(a[2])); };
    const auto signal = [&]() -> afterbell::Signal & { return signals.at(std::stoul(a[1])); };
    if (what == "signal") {
      const std::string name = unhex(a[2]);
      signals.push_back(a[1] == "float64" ? sender->float64(name) : a[1] == "int64" ? sender->int64(name) : a[1] == "bool" ? sender->boolean(name) : sender->text(name));
    } else if (what == "float64") {
      const std::uint64_t bits = std::stoull(a[3], nullptr, 16);
      double v;
      std::memcpy(&v, &bits, sizeof v);
      signal().record(at(), v);
    } else if (what == "int64") {
      signal().record(at(), std::stoll(a[3]));
    } else if (what == "bool") {
      signal().record(at(), a[3] == "true");
    } else if (what == "text") {
      signal().record(at(), unhex(a[3]));
    } else if (what == "broken") {
      for (const char *bytes : {"lone \xed\xa0\xb4"}) signal().record(at(), bytes);
    } else if (what == "match") {
      const auto word = [](const std::string &s) { return s == "-" ? std::string() : s; };
      if (a[4] == "-") {
        sender->match(a[1], word(a[2]), word(a[3]));
      } else {
        sender->match(a[1], word(a[2]), word(a[3]), std::stoll(a[4]));
      }
    } else if (what == "error") {
      std::cout << (signal().error().empty() ? "-" : signal().error()) << std::endl;
    } else if (what == "now") {
      std::cout << sender->now() << std::endl;
    } else if (what == "stats") {
      std::cout << stats(sender->stats()) << std::endl;
    } else if (what == "close") {
      std::cout << "closed " << (sender->close(std::chrono::milliseconds(static_cast<int>(seconds(a[1]) * 1000))) ? "true" : "false") << std::endl;
    } else if (what == "accept") {
      std::cout << afterbell::detail::accept_for(a[1]) << std::endl;
    } else if (what == "frame") {
      std::cout << hex(afterbell::detail::frame(std::stoi(a[1]), unhex(a[3]), unhex(a[2]))) << std::endl;
    } else if (what == "bench") {
      bench(signals[0], std::stoi(a[1]));
    }
  }
}
