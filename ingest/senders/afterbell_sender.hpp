// SPDX-License-Identifier: Apache-2.0
//
// Sends what a robot measures to the collector on the pit laptop (`afterbell collect`).
//
// Copy this one file into the robot program. It needs C++17, POSIX or Windows sockets and nothing
// else; link with -pthread, on Windows with ws2_32.
//
//   #include "afterbell_sender.hpp"
//
//   afterbell::Options o{"ws://10.0.0.5:4151/v1/live", "heron"};
//   o.token = "ab_...";
//   afterbell::Sender sender(o);
//   auto volts = sender.float64("power/voltage [V]");  // once for each signal
//   auto mode = sender.text("robot/mode");             // float64, int64, boolean or text
//   while (running) {                                  // the control loop
//     const auto now = sender.now();                   // microseconds, monotonic
//     volts.record(now, battery.voltage());
//     mode.record(now, "driver");
//   }
//   sender.close(std::chrono::seconds(10));            // true: all of it is on the laptop's disk
//
// What is promised:
//
// - record() does no I/O, allocates nothing and throws nothing; it holds a mutex for a few stores.
//   Two threads do the rest.
// - A batch is kept until the collector says that it is on its disk, and is sent again after a lost
//   connection. The collector takes each batch once.
// - Memory is bounded. When spool_bytes are full, the oldest samples go and are counted as lost; when
//   more than 65 536 samples or 1 MiB of text come between two batches, the newest, as dropped.
//
// What it has not: a spool on disk (what is not acknowledged when the program ends is gone, and close()
// says so), and TLS (ws:// only: use it on a link that nobody else can read, such as a cable).
//
// Each start is a boot of its own, with a name of its own; a boot you give must be new each time. Times
// are the robot's: any clock in microseconds that is monotonic, std::chrono::steady_clock by default.
// The wire is described in schemas/live.md.
#ifndef AFTERBELL_SENDER_HPP
#define AFTERBELL_SENDER_HPP

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <condition_variable>
#include <cstdint>
#include <cstdio>
#include <cstring>
#include <deque>
#include <functional>
#include <limits>
#include <locale>
#include <map>
#include <memory>
#include <mutex>
#include <random>
#include <sstream>
#include <stdexcept>
#include <string>
#include <string_view>
#include <thread>
#include <type_traits>
#include <utility>
#include <vector>

#ifdef _WIN32
#ifndef NOMINMAX
#define NOMINMAX
#endif
#include <winsock2.h>
#include <ws2tcpip.h>
#ifdef _MSC_VER
#pragma comment(lib, "ws2_32")
#endif
#else
#include <cerrno>
#include <fcntl.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>
#endif

namespace afterbell {

// What is to be sent where. Only url and robot are required.
struct Options {
  std::string url, robot;
  std::string source = "main";  // which computer of the robot
  std::string boot;             // unique for each start; a random one when empty
  std::string token;            // of `afterbell collect token`, when the collector asks for one
  std::size_t spool_bytes = 64u << 20;
  std::chrono::milliseconds every{20};               // from one batch to the next
  std::function<std::int64_t()> clock;               // robot time in microseconds
  std::function<void(const std::string &)> log;      // what a person should know; stderr

  Options(std::string address, std::string name) : url(std::move(address)), robot(std::move(name)) {}
};

// Counts of samples (recorded = acked + waiting + lost + refused), and how things are.
struct Stats {
  std::uint64_t recorded = 0, acked = 0, waiting = 0, dropped = 0, unfit = 0, lost = 0, refused = 0;
  std::uint64_t batches = 0, spooled_bytes = 0, connects = 0;
  bool connected = false;
  std::string trouble;  // why there is no connection
};

namespace detail {

using Clock = std::chrono::steady_clock;
using Millis = std::chrono::milliseconds;

constexpr const char *subprotocol = "afterbell.live.v1";
constexpr std::int64_t max_time = 9'000'000'000'000'000'000;  // the collector takes 9e12 s at most
constexpr std::int64_t safe = std::int64_t{1} << 53;          // integers beyond are strings
constexpr std::size_t max_text = 64u << 10, max_incoming = 64u << 10;  // bytes
constexpr std::size_t page_rows = 65'536, page_text = 1u << 20;        // between two batches
constexpr std::size_t longest_batch = 256u << 10;  // or one text more; far under the collector's 8 MiB
constexpr std::uint64_t most_flying = 64;          // batches on their way without an ack
constexpr std::size_t most_flying_bytes = 1u << 20;
// A handshake, a connection without a sign of life, a wait for an ack, from one clock exchange to the
// next, after a refusal, and the bounds of the pause before connecting again.
constexpr Millis handshake_time{5000}, silence{6000}, ack_time{5000}, clock_time{3000}, pause_time{250}, backoff{50}, most_backoff{2000};

enum class Kind { float64, int64, boolean, text };
inline const char *name_of(Kind k) {
  constexpr const char *names[] = {"float64", "int64", "bool", "text"};
  return names[static_cast<int>(k)];
}

// Why a connection ended.
struct Trouble : std::runtime_error {
  using std::runtime_error::runtime_error;
};

// --- Text -------------------------------------------------------------------------------------

// Whether a text is UTF-8 by RFC 3629: no surrogates, nothing longer than it need be.
inline bool is_utf8(std::string_view s) {
  for (std::size_t i = 0; i < s.size();) {
    const auto c = static_cast<unsigned char>(s[i++]);
    const int more = c < 0x80 ? 0 : c < 0xc2 ? -1 : c < 0xe0 ? 1 : c < 0xf0 ? 2 : c < 0xf5 ? 3 : -1;
    if (more < 0 || s.size() - i < static_cast<std::size_t>(more)) return false;
    for (int k = 0; k < more; k++, i++) {
      const auto d = static_cast<unsigned char>(s[i]);
      if ((d & 0xc0) != 0x80) return false;
      if (k == 0 && ((c == 0xe0 && d < 0xa0) || (c == 0xed && d > 0x9f) || (c == 0xf0 && d < 0x90) || (c == 0xf4 && d > 0x8f))) return false;
    }
  }
  return true;
}

// A text as a JSON string (RFC 8259, section 7).
inline void append_quoted(std::string &to, std::string_view s) {
  to += '"';
  for (const char c : s) {
    if (static_cast<unsigned char>(c) < 0x20) {
      char escape[8];
      std::snprintf(escape, sizeof escape, "\\u%04x", c);
      to += escape;
    } else {
      if (c == '"' || c == '\\') to += '\\';
      to += c;
    }
  }
  to += '"';
}

inline std::string quoted(std::string_view s) {
  std::string out;
  append_quoted(out, s);
  return out;
}

inline bool is_name(std::string_view s) {  // of a robot, source, event or match
  return !s.empty() && s.size() <= 64 && s[0] >= 'a' && s[0] <= 'z' && s.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789._-") == s.npos;
}

// The members of a JSON object: strings as they read, other values as they are written. What nests is
// passed over.
class Members {
 public:
  explicit Members(std::string_view text) : s_(text) {
    must(take('{'));
    if (!take('}')) {
      do {
        const std::string key = string();
        must(take(':'));
        values_[key] = peek() == '"' ? string() : value(0);
      } while (take(','));
      must(take('}'));
    }
    must(peek() == 0);
  }

  std::string text(const char *key) const {
    const auto it = values_.find(key);
    return it == values_.end() ? "" : it->second;
  }

  // A whole number, positive or not, of up to 18 digits.
  std::int64_t number(const char *key) const {
    const std::string n = text(key);
    const std::size_t sign = n.substr(0, 1) == "-" ? 1 : 0;
    if (n.size() == sign || n.size() > 18 + sign || n.find_first_not_of("0123456789", sign) != n.npos) throw Trouble(std::string(key) + " is no whole number");
    return std::stoll(n);
  }

  std::uint64_t seq(const char *key) const {
    const auto n = number(key);
    if (n < 0 || n > safe) throw Trouble(std::string(key) + " is no number of a batch");
    return static_cast<std::uint64_t>(n);
  }

 private:
  std::string_view s_;
  std::size_t at_ = 0;
  std::map<std::string, std::string> values_;

  static void must(bool ok) {
    if (!ok) throw Trouble("it is no JSON object");
  }
  char peek() {
    at_ = std::min(s_.find_first_not_of(" \t\r\n", at_), s_.size());
    return at_ < s_.size() ? s_[at_] : '\0';
  }
  bool take(char c) {
    const bool is = peek() == c;
    at_ += is ? 1 : 0;
    return is;
  }

  std::string value(int depth) {
    must(depth < 64);
    if (peek() == '"') return string();
    const std::size_t from = at_;
    for (const auto &pair : {"{}", "[]"}) {
      if (!take(pair[0])) continue;
      if (take(pair[1])) return "";
      do {
        if (pair[0] == '{') {
          string();
          must(take(':'));
        }
        value(depth + 1);
      } while (take(','));
      must(take(pair[1]));
      return "";
    }
    at_ = std::min(s_.find_first_of(",]} \t\r\n", at_), s_.size());
    must(at_ > from);
    return std::string(s_.substr(from, at_ - from));
  }

  std::string string() {
    must(take('"'));
    std::string out;
    for (;; at_++) {
      must(at_ < s_.size() && static_cast<unsigned char>(s_[at_]) >= 0x20);
      if (s_[at_] == '"') break;
      if (s_[at_] != '\\') {
        out += s_[at_];
        continue;
      }
      must(++at_ < s_.size());
      constexpr std::string_view from = "\"\\/bfnrt", to = "\"\\/\b\f\n\r\t";
      if (const auto i = from.find(s_[at_]); i != from.npos) {
        out += to[i];
      } else {  // \uXXXX: what we look for is ASCII, the rest is for people
        must(s_[at_] == 'u' && s_.size() - at_ > 4 && s_.substr(at_ + 1, 4).find_first_not_of("0123456789abcdefABCDEF") == s_.npos);
        const auto code = std::stoul(std::string(s_.substr(at_ + 1, 4)), nullptr, 16);
        out += code < 0x80 ? static_cast<char>(code) : '?';
        at_ += 4;
      }
    }
    at_++;
    return out;
  }
};

// --- What was recorded, and the spool ----------------------------------------------------------

struct SignalInfo {
  std::string name, head, error;  // head begins a sample in JSON
  Kind kind = Kind::float64;
  std::uint32_t number = 0;
  std::atomic<bool> warned{false};
};

struct Row {
  std::int64_t time;
  std::uint64_t value;  // bits; of a text its place << 32 | its length
  SignalInfo *signal;
};

struct Mark {
  std::size_t row;
  std::string message;  // of type match, but for its end
  bool timed;
};

// What is recorded between two batches. It does not grow, so that recording allocates nothing.
struct Page {
  std::vector<Row> rows;
  std::string text;
  std::vector<Mark> marks;
  Page() {
    rows.reserve(page_rows);
    text.reserve(page_text);
  }
};

struct Batch {
  std::vector<std::string> before;  // match messages
  std::string body;
  std::uint64_t samples = 0;
  int refusals = 0;
  std::size_t size() const {
    std::size_t n = 128 + body.size();
    for (const auto &m : before) n += m.size();
    return n;
  }
};

// The batches that the collector may not have, and which to send next. Batch first+i is batches[i]; what
// is asked for before first is sent empty: it was given up, or the collector that had it is gone.
class Spool {
 public:
  Spool(std::size_t limit, std::function<void(const std::string &)> log) : limit_(limit), log_(std::move(log)) {}

  std::size_t limit() const { return limit_; }

  void declare(const std::string &name, Kind kind) {
    const std::lock_guard lock(mu_);
    names_.push_back(quoted(name));
    types_.push_back(kind);
  }

  // The signals numbered from on, as a message; empty when there is none.
  std::string signals(std::size_t &from) {
    const std::lock_guard lock(mu_);
    if (from == names_.size()) return "";
    std::string names, types;
    for (std::size_t i = from; i < names_.size(); i++) {
      names += (i > from ? "," : "") + names_[i];
      types += (i > from ? ",\"" : "\"") + std::string(name_of(types_[i])) + "\"";
    }
    const std::string out = "{\"type\":\"signals\",\"first\":" + std::to_string(from) + ",\"names\":[" + names + "],\"types\":[" + types + "]}";
    from = names_.size();
    return out;
  }

  void push(Batch b) {
    const std::lock_guard lock(mu_);
    bytes_ += b.size();
    batches_.push_back(std::move(b));
    while (bytes_ > limit_ && batches_.size() > 1) {
      Batch old = std::move(batches_.front());
      batches_.pop_front();
      first_++;
      bytes_ -= old.size();
      counts_.lost += old.samples;
      Batch &heir = batches_.front();  // a match message is not lost
      bytes_ -= heir.size();
      heir.before.insert(heir.before.begin(), old.before.begin(), old.before.end());
      bytes_ += heir.size();
      if (!warned_) log_("the spool is full: the oldest samples go until the collector is there again");
      warned_ = true;
    }
  }

  void welcome(std::uint64_t durable) {
    const std::lock_guard lock(mu_);
    if (durable > 0 && (!settled_ || durable > last())) first_ = std::max(first_, durable + 1);  // of this boot, and not by this program: ours come behind
    settled_ = true;
    drop(durable);
    acked_ = durable;
    next_ = durable + 1;
    stale_ = 0;
    sent_ = std::max(sent_, durable);
    counts_.connects++;
    counts_.connected = true;
    counts_.trouble.clear();
  }

  void ack(std::uint64_t durable) {
    const std::lock_guard lock(mu_);
    if (durable > sent_) throw Trouble("the collector acknowledges batch " + std::to_string(durable) + ", and " + std::to_string(sent_) + " is the last that was sent");
    if (durable <= acked_) return;
    acked_ = durable;
    next_ = std::max(next_, durable + 1);
    if (gap_at_ <= durable) stale_ = 0;
    drop(durable);
  }

  // Goes back. Each batch on its way behind the hole brings one error, the first is enough.
  void gap(std::uint64_t expected) {
    const std::lock_guard lock(mu_);
    if (expected <= acked_ || expected > sent_ + 1) throw Trouble("the collector expects batch " + std::to_string(expected) + ", which cannot be");
    if (stale_ > 0 && expected == gap_at_) {
      stale_--;
    } else if (expected < next_) {
      gap_at_ = expected;
      stale_ = next_ - 1 - expected > 0 ? next_ - 2 - expected : 0;
      next_ = expected;
    }
  }

  void again() {
    const std::lock_guard lock(mu_);
    next_ = acked_ + 1;
    stale_ = 0;
  }

  // Something that was sent is not kept. An error does not say what it is about: one batch on its way is
  // it, else they go one at a time on a new connection. Refused twice, a batch is sent empty, so that
  // those behind it get through.
  void refuse(const std::string &why) {
    const std::lock_guard lock(mu_);
    const auto flying = next_ - 1 - acked_;
    alone_ = std::max(alone_, next_ - 1);
    if (flying > 1) throw Trouble("the collector refused something; sending one batch at a time to find out what");
    if (flying == 1 && acked_ + 1 == first_ && !batches_.empty() && ++batches_.front().refusals > 1) {
      Batch &b = batches_.front();
      log_("the collector refuses a batch; " + std::to_string(b.samples) + " samples go: " + why);
      counts_.refused += b.samples;
      bytes_ -= b.body.size();
      b.body.clear();
      b.samples = 0;
    }
  }

  // The messages of the next batch that may be on its way, empty when there is none.
  std::vector<std::string> take() {
    const std::lock_guard lock(mu_);
    const auto flying = next_ - 1 - acked_;
    if (next_ > last()) return {};
    if (flying > 0) {
      std::size_t bytes = 0;
      for (std::uint64_t i = first_; i < next_; i++) bytes += batches_[i - first_].size();
      if (flying >= most_flying || acked_ < alone_ || bytes > most_flying_bytes) return {};
    }
    std::vector<std::string> out;
    const Batch *b = next_ >= first_ ? &batches_[next_ - first_] : nullptr;
    if (b) out = b->before;
    out.push_back("{\"type\":\"batch\",\"seq\":" + std::to_string(next_) + ",\"samples\":[" + (b ? b->body : "") + "]}");
    sent_ = std::max(sent_, next_++);
    return out;
  }

  void lost(const std::string &why) {
    const std::lock_guard lock(mu_);
    counts_.connected = false;
    counts_.trouble = why;
  }

  bool drained(Millis most) {
    std::unique_lock lock(mu_);
    return changed_.wait_for(lock, most, [this] { return batches_.empty(); });
  }

  Stats stats() {
    const std::lock_guard lock(mu_);
    Stats s = counts_;
    s.spooled_bytes = bytes_;
    return s;
  }

  // How far acks have come, and whether batches are on their way without one.
  std::pair<std::uint64_t, bool> progress() {
    const std::lock_guard lock(mu_);
    return {acked_, next_ > acked_ + 1};
  }

 private:
  std::uint64_t last() const { return first_ + batches_.size() - 1; }

  void drop(std::uint64_t durable) {
    for (; !batches_.empty() && first_ <= durable; first_++) {
      bytes_ -= batches_.front().size();
      counts_.acked += batches_.front().samples;
      counts_.batches++;
      batches_.pop_front();
    }
    warned_ = warned_ && !batches_.empty();
    changed_.notify_all();
  }

  const std::size_t limit_;
  const std::function<void(const std::string &)> log_;
  std::mutex mu_;
  std::condition_variable changed_;
  std::vector<std::string> names_;
  std::vector<Kind> types_;
  std::deque<Batch> batches_;
  std::uint64_t first_ = 1, next_ = 1;  // next is to be sent on this connection
  std::uint64_t acked_ = 0, sent_ = 0, alone_ = 0, stale_ = 0, gap_at_ = 0;
  std::size_t bytes_ = 0;
  bool warned_ = false, settled_ = false;  // settled: a welcome has made the numbers final
  Stats counts_;
};

// --- RFC 6455 -----------------------------------------------------------------------------------

inline std::string random_bytes(std::size_t n) {
  thread_local std::random_device device;
  std::string out;
  while (out.size() < n) out += static_cast<char>(device() & 0xff);
  return out;
}

inline std::string base64(std::string_view in) {
  constexpr const char *digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  for (std::size_t i = 0; i < in.size(); i += 3) {
    std::uint32_t v = 0;
    for (std::size_t k = 0; k < 3; k++) v = v << 8 | (i + k < in.size() ? static_cast<unsigned char>(in[i + k]) : 0u);
    for (std::size_t k = 0; k < 4; k++) out += i + k > in.size() ? '=' : digits[v >> (18 - 6 * k) & 63];
  }
  return out;
}

// SHA-1 (FIPS 180-4), which the handshake asks for; it protects nothing.
inline std::string sha1(std::string data) {
  std::uint32_t h[] = {0x67452301, 0xefcdab89, 0x98badcfe, 0x10325476, 0xc3d2e1f0};
  const std::uint64_t bits = data.size() * 8;
  data += static_cast<char>(0x80);
  while (data.size() % 64 != 56) data += '\0';
  for (int i = 7; i >= 0; i--) data += static_cast<char>(bits >> (8 * i));
  const auto rotated = [](std::uint32_t v, int n) { return v << n | v >> (32 - n); };
  for (std::size_t at = 0; at < data.size(); at += 64) {
    std::uint32_t w[80];
    for (std::size_t i = 0; i < 80; i++) {
      w[i] = 0;
      for (std::size_t k = 0; i < 16 && k < 4; k++) w[i] = w[i] << 8 | static_cast<unsigned char>(data[at + 4 * i + k]);
      if (i >= 16) w[i] = rotated(w[i - 3] ^ w[i - 8] ^ w[i - 14] ^ w[i - 16], 1);
    }
    std::uint32_t a = h[0], b = h[1], c = h[2], d = h[3], e = h[4];
    for (int i = 0; i < 80; i++) {
      const std::uint32_t f = i < 20 ? ((b & c) | (~b & d)) : i < 40 || i >= 60 ? b ^ c ^ d : ((b & c) | (b & d) | (c & d));
      constexpr std::uint32_t k[] = {0x5a827999, 0x6ed9eba1, 0x8f1bbcdc, 0xca62c1d6};
      const std::uint32_t t = rotated(a, 5) + f + e + k[i / 20] + w[i];
      e = d, d = c, c = rotated(b, 30), b = a, a = t;
    }
    h[0] += a, h[1] += b, h[2] += c, h[3] += d, h[4] += e;
  }
  std::string out;
  for (const auto v : h)
    for (int i = 3; i >= 0; i--) out += static_cast<char>(v >> (8 * i));
  return out;
}

// The answer to a key (section 4.2.2).
inline std::string accept_for(const std::string &key) { return base64(sha1(key + "258EAFA5-E914-47DA-95CA-C5AB0DC85B11")); }

// A client's frame: FIN set, masked (sections 5.2 and 5.3).
inline std::string frame(int opcode, std::string_view payload, std::string_view mask) {
  const std::uint64_t n = payload.size();
  std::string out{static_cast<char>(0x80 | opcode), static_cast<char>(0x80 | (n < 126 ? n : n < 65536 ? 126 : 127))};
  for (int i = n < 126 ? -1 : n < 65536 ? 1 : 7; i >= 0; i--) out += static_cast<char>(n >> (8 * i));
  out += mask;
  for (std::size_t i = 0; i < n; i++) out += static_cast<char>(payload[i] ^ mask[i % 4]);
  return out;
}

#ifdef _WIN32
using Handle = SOCKET;
using Length = int;
constexpr Handle no_socket = INVALID_SOCKET;
inline void close_socket(Handle s) { closesocket(s); }
inline int poll_socket(WSAPOLLFD *p, int ms) { return WSAPoll(p, 1, ms); }
using PollFD = WSAPOLLFD;
inline bool not_now() { return WSAGetLastError() == WSAEWOULDBLOCK; }
inline std::string last_error() { return "socket error " + std::to_string(WSAGetLastError()); }
inline bool unblock(Handle s) {
  u_long on = 1;
  return ioctlsocket(s, FIONBIO, &on) == 0;
}
constexpr int send_flags = 0;
#else
using Handle = int;
using Length = std::size_t;
constexpr Handle no_socket = -1;
inline void close_socket(Handle s) { ::close(s); }
using PollFD = pollfd;
inline int poll_socket(PollFD *p, int ms) { return ::poll(p, 1, ms); }
inline bool not_now() { return errno == EAGAIN || errno == EWOULDBLOCK || errno == EINPROGRESS || errno == EINTR; }
inline std::string last_error() { return std::strerror(errno); }
inline bool unblock(Handle s) { return fcntl(s, F_SETFL, fcntl(s, F_GETFL, 0) | O_NONBLOCK) == 0; }
#ifdef MSG_NOSIGNAL
constexpr int send_flags = MSG_NOSIGNAL;
#else
constexpr int send_flags = 0;  // SO_NOSIGPIPE is set in its place
#endif
#endif

struct Address {
  std::string host, port = "80", path = "/v1/live", authority;
  explicit Address(const std::string &url) {
    const auto fail = [&] { throw std::invalid_argument("the collector's address \"" + url + "\" is not of the form ws://HOST:PORT/v1/live"); };
    if (url.rfind("wss://", 0) == 0) throw std::invalid_argument("this sender has no TLS: it cannot send to \"" + url + "\", only to ws:// (not wss://)");
    if (url.rfind("ws://", 0) != 0 || url.find_first_of(" \r\n\t") != url.npos) fail();
    const auto slash = url.find('/', 5);
    authority = url.substr(5, slash == url.npos ? slash : slash - 5);
    if (slash != url.npos && slash + 1 < url.size()) path = url.substr(slash);
    const auto bracket = authority.find(']'), colon = authority.find(':', bracket == authority.npos ? 0 : bracket);
    host = authority.substr(0, colon);
    if (bracket != authority.npos) host = authority.substr(1, bracket - 1);  // IPv6
    if (colon != authority.npos) port = authority.substr(colon + 1);
    if (host.empty() || port.empty()) fail();
  }
};

struct Closed : Trouble {
  int code;
  Closed(int c, const std::string &why) : Trouble("the collector closed the connection: " + std::to_string(c) + " " + why), code(c) {}
};

// The client's side of RFC 6455, as much of it as is needed.
class WebSocket {
 public:
  bool alive = false;  // a frame has come

  WebSocket(const Address &to, const std::string &token, const std::atomic<bool> &stop) : deadline_(Clock::now() + handshake_time), stop_(stop) {
    try {
      connect(to);
      handshake(to, token);
    } catch (...) {
      close();
      throw;
    }
  }
  ~WebSocket() { close(); }
  WebSocket(const WebSocket &) = delete;
  WebSocket &operator=(const WebSocket &) = delete;

  std::size_t waiting() const { return out_.size(); }
  void send(int opcode, std::string_view payload) { out_ += frame(opcode, payload, random_bytes(4)); }

  // Waits until the network gives or takes, then moves bytes. True when it took some.
  bool turn(Millis wait, std::vector<std::string> &texts) {
    bool took = false;
    if (ready(out_.empty() ? POLLIN : POLLIN | POLLOUT, wait)) {
      took = flush();
      receive();
    }
    read_frames(texts);  // some may have come with the answer to the handshake
    return took;
  }

  // Closes with code 1000 and waits a moment for the answer.
  void goodbye() {
    end(1000);
    const auto until = Clock::now() + Millis(200);
    try {
      while (Clock::now() < until) {
        if (ready(POLLIN, Millis(20))) receive();
      }
    } catch (const Trouble &) {  // it has gone, as it should
    }
  }

 private:
  Handle s_ = no_socket;
  std::string in_, out_, parts_;
  bool within_ = false;  // a message in fragments
  const Clock::time_point deadline_;
  const std::atomic<bool> &stop_;

  void close() {
    if (s_ != no_socket) close_socket(s_);
    s_ = no_socket;
  }

  bool ready(int events, Millis wait) {
    PollFD p{};
    p.fd = s_;
    p.events = static_cast<short>(events);
    return poll_socket(&p, static_cast<int>(wait.count())) > 0;
  }

  void within_deadline(int events) {
    while (!ready(events, Millis(20))) {
      if (stop_ || Clock::now() > deadline_) throw Trouble("no answer");
    }
  }

  void connect(const Address &to) {
    addrinfo hints{}, *found = nullptr;
    hints.ai_family = AF_UNSPEC;
    hints.ai_socktype = SOCK_STREAM;
    if (getaddrinfo(to.host.c_str(), to.port.c_str(), &hints, &found) != 0) throw Trouble("there is no address \"" + to.host + ":" + to.port + "\"");
    const std::unique_ptr<addrinfo, void (*)(addrinfo *)> freed(found, [](addrinfo *a) { freeaddrinfo(a); });
    std::string why = "no address";
    for (; found; found = found->ai_next) {
      close();
      s_ = ::socket(found->ai_family, found->ai_socktype, found->ai_protocol);
      if (s_ == no_socket || !unblock(s_)) continue;
      const int on = 1;
      setsockopt(s_, IPPROTO_TCP, TCP_NODELAY, reinterpret_cast<const char *>(&on), sizeof on);
#ifdef SO_NOSIGPIPE
      setsockopt(s_, SOL_SOCKET, SO_NOSIGPIPE, &on, sizeof on);
#endif
      if (::connect(s_, found->ai_addr, static_cast<socklen_t>(found->ai_addrlen)) != 0 && !not_now()) {
        why = last_error();
        continue;
      }
      within_deadline(POLLOUT);
      int error = 0;
      socklen_t size = sizeof error;
      getsockopt(s_, SOL_SOCKET, SO_ERROR, reinterpret_cast<char *>(&error), &size);
      if (error == 0) return;
      why = std::strerror(error);
    }
    throw Trouble(why);
  }

  void handshake(const Address &to, const std::string &token) {
    const std::string key = base64(random_bytes(16));
    out_ = "GET " + to.path + " HTTP/1.1\r\nHost: " + to.authority + "\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: " + key +
           "\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Protocol: " + subprotocol + "\r\n" + (token.empty() ? "" : "Authorization: Bearer " + token + "\r\n") + "\r\n";
    while (in_.find("\r\n\r\n") == in_.npos) {
      within_deadline(out_.empty() ? POLLIN : POLLIN | POLLOUT);
      flush();
      receive();
      if (in_.size() > 16u << 10) throw Trouble("what answers there does not speak HTTP");
    }
    const auto end = in_.find("\r\n\r\n");
    std::istringstream head(in_.substr(0, end));
    in_.erase(0, end + 4);
    std::string line, status;
    std::getline(head, status, '\r');
    std::map<std::string, std::string> fields;
    while (std::getline(head >> std::ws, line, '\r')) {
      const auto colon = line.find(':');
      if (colon == line.npos) continue;
      std::string name = line.substr(0, colon);
      for (auto &c : name) c = static_cast<char>(c >= 'A' && c <= 'Z' ? c + 32 : c);
      const auto from = line.find_first_not_of(" \t", colon + 1);
      fields[name] = from == line.npos ? "" : line.substr(from, line.find_last_not_of(" \t") + 1 - from);
    }
    const std::string code = status.size() > 12 ? status.substr(9, 3) : "";
    if (code != "101") throw Trouble("it answers " + status.substr(0, 80) + (code == "401" ? "; give the token of the collector" : "") + ": " + in_.substr(0, 200));
    std::string upgrade = fields["upgrade"];
    for (auto &c : upgrade) c = static_cast<char>(c >= 'A' && c <= 'Z' ? c + 32 : c);
    if (upgrade != "websocket" || fields["sec-websocket-accept"] != accept_for(key) || fields["sec-websocket-protocol"] != subprotocol) {
      throw Trouble("what answers there is no collector");
    }
  }

  bool flush() {
    if (out_.empty()) return false;
    const auto n = ::send(s_, out_.data(), static_cast<Length>(std::min<std::size_t>(out_.size(), 64u << 10)), send_flags);
    if (n < 0 && !not_now()) throw Trouble(last_error());
    if (n > 0) out_.erase(0, static_cast<std::size_t>(n));
    return n > 0;
  }

  bool receive() {
    char buffer[16 << 10];
    const auto n = ::recv(s_, buffer, sizeof buffer, 0);
    if (n == 0) throw Trouble("the collector has gone");
    if (n < 0 && !not_now()) throw Trouble(last_error());
    if (n > 0) in_.append(buffer, static_cast<std::size_t>(n));
    return n > 0;
  }

  void end(int code) {
    send(8, std::string{static_cast<char>(code >> 8), static_cast<char>(code)});
    try {
      flush();
    } catch (const Trouble &) {  // it has gone, or takes nothing
    }
  }

  [[noreturn]] void fail(int code, const std::string &what) {
    end(code);
    throw Trouble("the collector sends " + what);
  }

  // Frames by section 5.2, as far as they are whole.
  void read_frames(std::vector<std::string> &texts) {
    for (;;) {
      const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(in_[i]); };
      if (in_.size() < 2) return;
      std::uint64_t size = byte(1) & 127u;
      const std::size_t more = size == 126 ? 2 : size == 127 ? 8 : 0;
      if (in_.size() < 2 + more) return;
      if (more) size = 0;
      for (std::size_t i = 0; i < more; i++) size = size << 8 | byte(2 + i);
      const int opcode = byte(0) & 15;
      const bool final = byte(0) & 0x80;
      if ((byte(0) & 0x70) || (byte(1) & 0x80) || (opcode > 7 && (size > 125 || !final)) || (opcode > 2 && opcode < 8) || opcode > 10) {
        fail(1002, "a frame against the protocol");
      }
      if (size > max_incoming) fail(1009, "a message that is too long");
      if (in_.size() < 2 + more + size) return;
      const std::string payload = in_.substr(2 + more, size);
      in_.erase(0, 2 + more + size);
      alive = true;
      if (opcode == 9) {
        send(10, payload);
      } else if (opcode == 8) {
        const int code = payload.size() > 1 ? static_cast<unsigned char>(payload[0]) << 8 | static_cast<unsigned char>(payload[1]) : 1005;
        end(payload.size() > 1 ? code : 1000);
        throw Closed(code, payload.size() > 2 ? payload.substr(2) : "");
      } else if (opcode < 3) {
        if (opcode == 2) fail(1003, "a binary message, which means nothing here");
        if ((opcode == 1) == within_) fail(1002, "a fragment that does not belong here");
        within_ = !final;
        parts_ += payload;
        if (parts_.size() > max_incoming) fail(1009, "a message that is too long");
        if (final) {
          if (!is_utf8(parts_)) fail(1007, "text that is no UTF-8");
          texts.push_back(std::move(parts_));
          parts_.clear();
        }
      }
    }
  }
};

// Connects a spool with the collector, again and again.
class Link {
 public:
  Link(Spool &spool, const Options &o, const std::atomic<bool> &stop) : spool_(spool), o_(o), to_(o.url), stop_(stop) {}

  void run() {
    std::string said;
    std::mt19937 chance{std::random_device{}()};
    for (int attempt = 0; !stop_; attempt++) {
      const auto began = Clock::now();
      const auto acked = spool_.progress().first;
      try {
        session();
      } catch (const std::exception &e) {  // whatever it is, trying again is all that can be done
        const std::string why = o_.url + ": " + e.what();
        spool_.lost(why);
        if (why != said) o_.log("no connection to the collector; trying again and again: " + why);
        said = why;
      }
      if (spool_.progress().first > acked || Clock::now() - began > 2 * most_backoff) attempt = 0;  // it was a good connection
      // Exponential, with full jitter: robots that lost the same radio come back one by one.
      const auto most = std::min<std::int64_t>(most_backoff.count(), backoff.count() << std::min(attempt, 16));
      const auto until = Clock::now() + Millis(std::uniform_int_distribution<std::int64_t>(0, most)(chance));
      while (!stop_ && Clock::now() < until) std::this_thread::sleep_for(Millis(5));
    }
  }

 private:
  Spool &spool_;
  const Options &o_;
  const Address to_;
  const std::atomic<bool> &stop_;

  // Of the connection that is open.
  bool welcomed_ = false, asking_ = false, paused_ = false;
  std::int64_t asked_ = 0;  // T0 of the clock exchange under way
  Clock::time_point paused_until_;
  Millis disk_pause_{0};

  void session() {
    WebSocket ws(to_, o_.token, stop_);
    welcomed_ = asking_ = paused_ = false;
    disk_pause_ = pause_time;
    const auto began = Clock::now();
    auto heard = began, moved = began, due_ping = began + silence / 3, due_clock = began;
    std::uint64_t acked = std::numeric_limits<std::uint64_t>::max();
    std::size_t numbered = 0;
    bool batches = false;  // among what waits for the network: a ping that has gone is no progress
    std::vector<std::string> texts;
    ws.send(1, "{\"type\":\"hello\",\"robot\":" + quoted(o_.robot) + ",\"source\":" + quoted(o_.source) + ",\"boot\":" + quoted(o_.boot) + "}");
    try {
      while (!stop_) {
        const auto now = Clock::now();
        if (welcomed_ && now >= due_clock) {
          asked_ = o_.clock();
          asking_ = true;
          ws.send(1, "{\"type\":\"clock\",\"t0_us\":" + std::to_string(asked_) + "}");
          due_clock = now + clock_time;
        }
        if (now >= due_ping) {
          ws.send(9, "");
          due_ping = now + silence / 3;
        }
        if (welcomed_ && (!paused_ || now >= paused_until_)) {
          if (paused_ || (now - moved > ack_time && spool_.progress().second)) {
            spool_.again();  // a pause is over, or no ack has come for long
            paused_ = false;
            moved = now;
          }
          if (send_batches(ws, numbered)) batches = true;
        }
        texts.clear();
        if (ws.turn(Millis(20), texts) && batches) moved = Clock::now();
        if (ws.waiting() == 0) batches = false;
        const auto t3 = o_.clock();  // before anything else takes time
        for (const auto &text : texts) take(ws, text, t3);
        if (ws.alive) heard = Clock::now();
        ws.alive = false;
        const auto [so_far, flying] = spool_.progress();
        if (so_far != acked || !flying) moved = Clock::now();
        acked = so_far;
        if (now - heard > silence || (!welcomed_ && now - began > handshake_time)) throw Trouble("the collector does not answer");
      }
      ws.goodbye();
    } catch (const Closed &c) {
      if (c.code == 1002 || c.code == 1003 || c.code == 1007 || c.code == 1009) spool_.refuse(c.what());
      throw;
    }
  }

  // Sends what may be on its way, as long as the network takes it; whether there was any.
  bool send_batches(WebSocket &ws, std::size_t &numbered) {
    bool any = false;
    while (ws.waiting() < 64u << 10) {
      const auto messages = spool_.take();
      if (messages.empty()) return any;
      any = true;
      if (const auto more = spool_.signals(numbered); !more.empty()) ws.send(1, more);
      for (const auto &m : messages) ws.send(1, m);
    }
    return any;
  }

  // Takes up what the collector says. Types that are not known are passed over.
  void take(WebSocket &ws, const std::string &text, std::int64_t t3) {
    try {
      const Members m(text);
      const std::string type = m.text("type"), code = m.text("code");
      if (type == "welcome" && !welcomed_) {
        spool_.welcome(m.seq("durable_seq"));
        welcomed_ = true;
      } else if (type == "ack") {
        spool_.ack(m.seq("durable_seq"));
        disk_pause_ = pause_time;
      } else if (type == "clock" && asking_ && m.text("t0_us") == std::to_string(asked_)) {
        if (t3 >= asked_) ws.send(1, "{\"type\":\"clock\",\"t0_us\":" + std::to_string(asked_) + ",\"t3_us\":" + std::to_string(t3) + "}");
        asking_ = false;
      } else if (type == "error" && code == "storage") {
        o_.log("the collector's disk takes nothing now; keeping everything here: " + m.text("message"));
        pause(disk_pause_);
        disk_pause_ = std::min(2 * disk_pause_, most_backoff);
      } else if (type == "error" && !welcomed_) {
        throw Trouble("the collector refuses robot " + o_.robot + ": " + m.text("message"));
      } else if (type == "error" && code == "gap") {
        spool_.gap(m.seq("expected"));
      } else if (type == "error" && code == "bad_name") {  // of a match; the batches do not depend on it
        o_.log("the collector refuses a name: " + m.text("message"));
      } else if (type == "error") {
        o_.log("the collector refuses something: " + code + ": " + m.text("message"));
        pause(pause_time);
        spool_.refuse(m.text("message"));
      }
    } catch (const Trouble &e) {
      throw Trouble(std::string(e.what()) + ", in \"" + text.substr(0, 80) + "\"");
    }
  }

  void pause(Millis time) {
    paused_ = true;
    paused_until_ = Clock::now() + time;
  }
};

}  // namespace detail

class Sender;

// One thing that is measured; copy it freely while its sender lives.
class Signal {
 public:
  // Takes a sample at a time of the robot's clock in microseconds. v is a number, a bool or a text (UTF-8
  // up to 64 KiB), by the signal's type; a whole number is also a float64. True when it was taken.
  template <class T>
  bool record(std::int64_t time_us, const T &v) noexcept;

  // Why nothing of it can be sent; empty when it can.
  const std::string &error() const { return info_->error; }

 private:
  friend class Sender;
  Signal(Sender *s, detail::SignalInfo *i) : sender_(s), info_(i) {}
  Sender *sender_;
  detail::SignalInfo *info_;
};

// Sends the samples of one robot computer. Its methods may be called from any thread.
class Sender {
 public:
  // Begins to connect in the background; the collector may come later. Throws std::invalid_argument for
  // what can never work.
  explicit Sender(Options o) : o_(checked(std::move(o))), spool_(o_.spool_bytes, o_.log), link_(spool_, o_, stop_) {
#ifdef _WIN32
    WSADATA data;
    WSAStartup(MAKEWORD(2, 2), &data);
#endif
    cutter_ = std::thread([this] {
      while (!stop_) {
        std::this_thread::sleep_for(o_.every);
        cut();
      }
    });
    linker_ = std::thread([this] { link_.run(); });
  }
  Sender(const Sender &) = delete;
  Sender &operator=(const Sender &) = delete;

  // Ends without waiting for the collector; call close first.
  ~Sender() {
    close(detail::Millis(0));
#ifdef _WIN32
    WSACleanup();
#endif
  }

  // The robot's time in microseconds.
  std::int64_t now() const { return o_.clock(); }

  // A signal of that type. A unit may ride on the name: "power/voltage [V]". Call it once for each signal,
  // not in the loop. A signal that cannot be is logged, and its samples are counted as unfit: a robot
  // must not stop for that.
  Signal float64(const std::string &name) { return signal(name, detail::Kind::float64); }
  Signal int64(const std::string &name) { return signal(name, detail::Kind::int64); }
  Signal boolean(const std::string &name) { return signal(name, detail::Kind::boolean); }
  Signal text(const std::string &name) { return signal(name, detail::Kind::text); }

  // Opens ("start") or closes ("end") a match by hand; event and match may be empty, and without a time it
  // is that of the newest sample. The mode signal of the robot's profile does that by itself, where it
  // names one. Throws std::invalid_argument.
  void match(const std::string &state, const std::string &event = "", const std::string &match = "") { mark(state, event, match, nullptr); }
  void match(const std::string &state, const std::string &event, const std::string &match, std::int64_t at_us) { mark(state, event, match, &at_us); }

  Stats stats() {
    Stats s = spool_.stats();
    const std::lock_guard lock(recording_);
    s.recorded = recorded_;
    s.dropped = dropped_;
    s.unfit = unfit_;
    s.waiting = recorded_ - s.acked - s.lost - s.refused;
    return s;
  }

  // Takes no more samples and waits until everything is on the collector's disk, no longer than that. False
  // when something is not: it is lost.
  bool close(std::chrono::milliseconds timeout) {
    {
      const std::lock_guard lock(recording_);
      closed_ = true;
    }
    cut();
    const bool done = spool_.drained(timeout);
    stop_ = true;
    if (cutter_.joinable()) cutter_.join();
    if (linker_.joinable()) linker_.join();
    return done;
  }

 private:
  friend class Signal;
  const Options o_;
  std::atomic<bool> stop_{false};
  detail::Spool spool_;
  detail::Link link_;
  std::mutex naming_;
  std::map<std::string, std::unique_ptr<detail::SignalInfo>> signals_;
  std::vector<std::unique_ptr<detail::SignalInfo>> unfits_;

  std::mutex recording_;  // held for a few stores only
  detail::Page page_, spare_;
  std::uint64_t recorded_ = 0, dropped_ = 0, unfit_ = 0;
  bool closed_ = false;

  std::mutex cutting_;
  bool any_ = false;
  std::int64_t newest_ = 0;  // time of the newest sample that is in a batch
  std::thread cutter_, linker_;

  static Options checked(Options o) {
    const detail::Address valid(o.url);
    for (const auto &[what, name] : {std::pair{"robot", o.robot}, {"source", o.source}}) check_name(what, name);
    if (o.boot.empty()) {
      for (const char c : detail::random_bytes(16)) {
        char hex[3];
        std::snprintf(hex, sizeof hex, "%02x", static_cast<unsigned char>(c));
        o.boot += hex;
      }
    }
    if (o.boot.size() > 256 || !detail::is_utf8(o.boot)) throw std::invalid_argument("a boot is a text of 1 to 256 bytes of UTF-8");
    for (const char c : o.token) {
      if (c < '!' || c > '~') throw std::invalid_argument("the token is not what `afterbell collect token` printed");
    }
    if (o.spool_bytes < 64u << 10 || o.every.count() < 1) throw std::invalid_argument("spool_bytes must be at least 65536, and every at least 1 ms");
    if (!o.clock) o.clock = [] { return std::chrono::duration_cast<std::chrono::microseconds>(detail::Clock::now().time_since_epoch()).count(); };
    if (!o.log) o.log = [](const std::string &text) { std::fprintf(stderr, "afterbell: %s\n", text.c_str()); };
    return o;
  }

  static void check_name(const std::string &what, const std::string &name) {
    if (!detail::is_name(name)) throw std::invalid_argument(what + " \"" + name + "\" is not a name: use 1 to 64 of a-z 0-9 . _ -, and begin with a letter");
  }

  Signal signal(const std::string &name, detail::Kind kind) {
    const auto trimmed = [](std::string_view s) {
      const auto from = s.find_first_not_of(" \t\r\n"), to = s.find_last_not_of(" \t\r\n");
      return std::string(from == s.npos ? "" : s.substr(from, to + 1 - from));
    };
    std::string bare = trimmed(name);
    if (const auto open = bare.rfind('['); open != bare.npos && open > 0 && bare.back() == ']' && bare.size() - open > 2 && (bare[open - 1] == ' ' || bare[open - 1] == '\t')) {
      if (const auto before = trimmed(bare.substr(0, open)); !before.empty()) bare = before;
    }
    const std::lock_guard lock(naming_);
    const auto known = signals_.find(bare);
    if (known != signals_.end() && known->second->name == name && known->second->kind == kind) return {this, known->second.get()};
    auto info = std::make_unique<detail::SignalInfo>();
    auto *const p = info.get();
    p->name = name;
    p->kind = kind;
    p->head = "[" + detail::quoted(name) + ",";
    if (known != signals_.end()) {
      p->error = "it is there as \"" + known->second->name + "\", " + detail::name_of(known->second->kind);
    } else if (bare.empty() || bare.size() > 256 || name.size() > 1024 || !detail::is_utf8(name)) {
      p->error = "a name is UTF-8 of 1 to 256 bytes";
    } else if (signals_.size() >= 10'000) {
      p->error = "more than 10000 signals; is a value part of a name?";
    }
    if (p->error.empty()) {
      spool_.declare(name, kind);
      signals_[bare] = std::move(info);
    } else {
      p->error = "signal \"" + name + "\": " + p->error;
      o_.log("a signal cannot be sent: " + p->error);
      unfits_.push_back(std::move(info));
    }
    return {this, p};
  }

  bool put(detail::SignalInfo *g, detail::Kind kind, std::int64_t t, std::uint64_t value, std::string_view text = {}) {
    bool fits = kind == g->kind && g->error.empty() && t <= detail::max_time && t >= -detail::max_time;
    fits = fits && (text.empty() || (text.size() <= detail::max_text && detail::is_utf8(text)));
    {
      const std::lock_guard lock(recording_);
      if (fits && !closed_) {
        if (page_.rows.size() == detail::page_rows || page_.text.size() + text.size() > detail::page_text) {
          dropped_++;
          return false;
        }
        if (kind == detail::Kind::text) value = static_cast<std::uint64_t>(page_.text.size()) << 32 | text.size();
        page_.text += text;
        page_.rows.push_back({t, value, g});
        recorded_++;
        return true;
      }
      unfit_++;
    }
    if (!fits && g->error.empty() && !g->warned.exchange(true)) {
      try {
        o_.log("a sample of \"" + g->name + "\" cannot be sent (said once): it is " + detail::name_of(kind) + " at " + std::to_string(t) + ", or too long, or no UTF-8");
      } catch (...) {  // that it cannot be said is no reason to stop a robot
      }
    }
    return false;
  }

  void mark(const std::string &state, const std::string &event, const std::string &match, const std::int64_t *at) {
    if (state != "start" && state != "end") throw std::invalid_argument("the state of a match is start or end, not \"" + state + "\"");
    std::string m = "{\"type\":\"match\",\"state\":\"" + state + "\"";
    for (const auto &[what, name] : {std::pair{"event", event}, {"match", match}}) {
      if (name.empty()) continue;
      check_name(what, name);
      m += std::string(",\"") + what + "\":\"" + name + "\"";
    }
    if (at) m += ",\"at_us\":" + std::to_string(*at);
    const std::lock_guard lock(recording_);
    if (closed_) throw std::invalid_argument("the sender is closed");
    page_.marks.push_back({page_.rows.size(), m, at != nullptr});
  }

  // Makes batches of what was recorded.
  void cut() {
    const std::lock_guard cutting(cutting_);
    {
      const std::lock_guard lock(recording_);
      std::swap(page_, spare_);
    }
    detail::Page &p = spare_;
    detail::Batch b;
    const auto push = [&] {
      spool_.push(std::move(b));
      b = detail::Batch();
    };
    const std::size_t enough = std::min(detail::longest_batch, o_.spool_bytes / 4);
    std::ostringstream number;  // not printf: a robot program may have set a locale that writes 1,5
    number.imbue(std::locale::classic());
    number.precision(17);
    auto mark = p.marks.begin();
    for (std::size_t i = 0; i <= p.rows.size(); i++) {
      for (; mark != p.marks.end() && mark->row == i; mark++) {
        if (b.samples > 0) push();
        if (!mark->timed && any_) mark->message += ",\"at_us\":" + std::to_string(newest_);  // now, and not when it arrives
        b.before.push_back(mark->message + "}");
      }
      if (i == p.rows.size()) break;
      const detail::Row &r = p.rows[i];
      if (b.samples++ > 0) b.body += ',';
      b.body += r.signal->head;
      b.body += std::to_string(r.time);
      b.body += ',';
      append_value(b.body, r, p.text, number);
      b.body += ']';
      newest_ = any_ ? std::max(newest_, r.time) : r.time;
      any_ = true;
      if (b.body.size() > enough) push();
    }
    if (b.samples > 0 || !b.before.empty()) push();  // a match message is durable with a later batch, even an empty one
    p.rows.clear();
    p.text.clear();
    p.marks.clear();
  }

  static void append_value(std::string &to, const detail::Row &r, const std::string &text, std::ostringstream &number) {
    switch (r.signal->kind) {
      case detail::Kind::float64: {
        double v;
        std::memcpy(&v, &r.value, sizeof v);
        if (!std::isfinite(v)) {
          to += std::isnan(v) ? "\"nan\"" : v > 0 ? "\"inf\"" : "\"-inf\"";
          break;
        }
        number.str("");
        number << v;
        to += number.str();
        break;
      }
      case detail::Kind::int64: {
        const auto v = static_cast<std::int64_t>(r.value);
        const char *const quote = v > -detail::safe && v < detail::safe ? "" : "\"";
        to += quote + std::to_string(v) + quote;
        break;
      }
      case detail::Kind::boolean:
        to += r.value ? "true" : "false";
        break;
      case detail::Kind::text:
        detail::append_quoted(to, std::string_view(text).substr(r.value >> 32, r.value & 0xffffffff));
        break;
    }
  }
};

template <class T>
bool Signal::record(std::int64_t time_us, const T &v) noexcept {
  using detail::Kind;
  if constexpr (std::is_same_v<T, bool>) {
    return sender_->put(info_, Kind::boolean, time_us, v ? 1 : 0);
  } else if constexpr (std::is_arithmetic_v<T>) {
    if (info_->kind == Kind::float64) {
      const double d = static_cast<double>(v);
      std::uint64_t bits;
      std::memcpy(&bits, &d, sizeof bits);
      return sender_->put(info_, Kind::float64, time_us, bits);
    }
    if constexpr (std::is_integral_v<T>) {
      const auto i = static_cast<std::int64_t>(v);
      return sender_->put(info_, (v > 0) == (i > 0) ? Kind::int64 : Kind::float64, time_us, static_cast<std::uint64_t>(i));  // uint64 may not fit
    }
    return sender_->put(info_, Kind::float64, time_us, 0);  // which it is not
  } else {
    return sender_->put(info_, Kind::text, time_us, 0, std::string_view(v));
  }
}

}  // namespace afterbell

#endif
