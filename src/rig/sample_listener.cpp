#include "rig/sample_listener.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <cerrno>
#include <optional>
#include <thread>
#include <utility>

#include "rig/followed_file.hpp"
#include "rig/line_assembler.hpp"
#include "rig/line_text.hpp"
#include "rig/looking_again.hpp"
#include "rig/one_timer.hpp"
#include "rig/sample_clock.hpp"
#include "rig/sample_line.hpp"
#include "rig/serial_port.hpp"

namespace plexor::rig {

namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;

constexpr base::Duration longest_chunk = 50ms;
constexpr base::Duration kept_together = 25ms;  ///< so long after the first of a chunk came
constexpr base::Duration look_at_file = 2ms;
constexpr base::Duration watch_every = 500ms;
constexpr base::Duration long_silence = 2s;
constexpr std::size_t longest_sample_line = 64;

/// Counts something that people are told of: the first, the tenth, the hundredth, ...
class Tally {
 public:
  /// Whether this one is told.
  [[nodiscard]] bool add(std::uint64_t more = 1) {
    count_ += more;
    if (count_ < told_at_) return false;
    while (told_at_ <= count_) told_at_ *= 10;
    return true;
  }
  [[nodiscard]] std::uint64_t count() const { return count_; }

 private:
  std::uint64_t count_ = 0;
  std::uint64_t told_at_ = 1;
};

/// Lets through twice a channel's rate, and four seconds of it at once after a pause.
class SampleCap {
 public:
  explicit SampleCap(base::Duration period) : each_(period / 2) {}
  [[nodiscard]] bool lets_pass(KernelInstant at) {
    constexpr base::Duration at_once = 2s;
    full_at_ = std::max(full_at_, at);
    if (full_at_ - at > at_once) return false;
    full_at_ += each_;
    return true;
  }

 private:
  base::Duration each_;
  KernelInstant full_at_;
};

/// Says so when a channel's samples come at another rate than the rig file has.
class RateWatch {
 public:
  void add(KernelInstant at) {
    if (count_++ == 0) first_ = at;
    last_ = at;
  }
  /// Nothing while it is not known.
  [[nodiscard]] std::optional<double> rate_hz() const {
    constexpr base::Duration long_enough = 10s;  // buffers fill and empty meanwhile
    if (last_ - first_ < long_enough) return std::nullopt;
    return static_cast<double>(count_ - 1) / base::to_s(last_ - first_);
  }

 private:
  std::uint64_t count_ = 0;
  KernelInstant first_;
  KernelInstant last_;
};

}  // namespace

/// Everything but uncertainty() happens on its thread.
class SampleListener::Ear {
 public:
  Ear(Channel channel, SampleHearers hearers)
      : channel_(std::move(channel)),
        hearers_(std::move(hearers)),
        most_in_chunk_(static_cast<std::size_t>(
            std::max<std::int64_t>(longest_chunk / channel_.period(), 1))) {
    values_.reserve(most_in_chunk_);
    open(FollowedFile::Begin::at_end);
    watch();
    thread_ = std::thread([this] { context_.run(); });
  }
  ~Ear() {
    context_.stop();
    thread_.join();
    if (stream_.is_open()) stream_.release();
  }
  Ear(const Ear&) = delete;
  Ear& operator=(const Ear&) = delete;

  [[nodiscard]] base::Duration uncertainty() const { return uncertainty_; }

 private:
  // Its source.

  void open(FollowedFile::Begin begin) {
    if (const auto* file = std::get_if<SampleFile>(&channel_.source.way)) {
      file_.emplace(file->path, begin);
    } else {
      const auto& settings = std::get<SerialSettings>(channel_.source.way);
      SerialPort port(settings);
      port.reset(settings.reset);
      stream_.assign(port.descriptor());
      port_.emplace(std::move(port));
    }
    assembler_ =
        LineAssembler([this](std::string_view line) { take_line(line); }, longest_sample_line);
    dropped_lines_ = 0;
    clock_.forget();
    rate_ = {};
    // Where one begins to hear within a line, its rest would be another number.
    is_within_line_ = !(file_ && begin == FollowedFile::Begin::at_start);
    heard_ = lines::kernel_now();
    port_ ? await_bytes() : look_at(0ms);
  }

  void await_bytes() {
    stream_.async_wait(asio_stream::wait_read, [this](const boost::system::error_code& error) {
      if (error != boost::asio::error::operation_aborted) read_port();
    });
  }

  /// A part of a flood at a time, so that timers have their turn.
  void read_port() {
    for (int i = 0; i < most_reads; ++i) {
      const ssize_t bytes = ::read(port_->descriptor(), buffer_.data(), buffer_.size());
      const int error = errno;
      arrived_ = lines::kernel_now();
      const bool gone = bytes == 0 || (bytes < 0 && error != EAGAIN && error != EINTR);
      if (gone) return lose();
      if (bytes < 0) break;
      take_bytes(static_cast<std::size_t>(bytes));
    }
    await_bytes();
  }

  void look_at(base::Duration wait) {
    source_timer_.after(wait, [this] { read_file(); });
  }

  void read_file() {
    for (int i = 0; i < most_reads; ++i) {
      const std::size_t bytes = file_->read(buffer_);
      arrived_ = lines::kernel_now();
      if (bytes == 0) return file_->is_gone() ? lose() : look_at(look_at_file);
      take_bytes(bytes);
    }
    look_at(0ms);
  }

  void lose() {
    if (stream_.is_open()) stream_.release();
    port_.reset();
    file_.reset();
    tell_chunk();
    remark(fmt::format("{} is gone; looking for it", place()));
    look_after(first_look);
  }

  void look_after(base::Duration wait) {
    source_timer_.after(wait, [this, wait] { look_again(wait); });
  }

  void look_again(base::Duration waited) {
    try {
      open(FollowedFile::Begin::at_start);
      remark(fmt::format("{} is back", place()));
    } catch (const base::RigFault& fault) {
      const bool is_news = fault.what() != std::exchange(last_trouble_, fault.what());
      if (is_news) remark(fault.what());
      look_after(std::min(waited * 2, longest_look));
    }
  }

  [[nodiscard]] std::string place() const {
    const std::string place = place_of(channel_.source);
    return place.empty() ? "its port" : place;
  }

  // What it says.

  void take_bytes(std::size_t bytes) {
    assembler_.feed({buffer_.data(), bytes});
    const std::size_t dropped = assembler_.dropped() + (assembler_.overlong() ? 1 : 0);
    if (dropped <= dropped_lines_) return;
    const std::size_t more = dropped - std::exchange(dropped_lines_, dropped);
    if (no_samples_.add(more)) {
      remark(
          fmt::format("sends lines that are no sample, {} so far; one of them is longer than {} "
                      "bytes (check \"baud\" and \"line\")",
                      no_samples_.count(), longest_sample_line));
    }
  }

  void take_line(std::string_view line) {
    if (std::exchange(is_within_line_, false)) return;
    const auto sample = read_sample(line, channel_.source.line);
    if (!sample) return count_no_sample(line);
    if (!cap_.lets_pass(arrived_)) return count_too_many();
    heard_ = arrived_;
    rate_.add(arrived_);
    if (sample->value < channel_.lowest || sample->value > channel_.highest) count_outside(*sample);
    const SampleClock::Step step = channel_.source.line == SampleLine::value
                                       ? clock_.count(arrived_)
                                       : clock_.stamp(sample->own, sample->resolution, arrived_);
    if (step != SampleClock::Step::next) break_off(step);
    if (values_.size() >= most_in_chunk_) tell_chunk();
    if (values_.empty() && !chunk_timer_.is_set()) {
      chunk_timer_.after(kept_together, [this] { tell_chunk(); });
    }
    values_.push_back(sample->value);
    last_at_ = clock_.at();
  }

  void break_off(SampleClock::Step step) {
    tell_chunk();
    if (step == SampleClock::Step::lost && lost_.add()) {
      remark(
          fmt::format("lost samples, {} time(s) so far: after each its wave begins anew (check "
                      "the way that they come, \"baud\" and \"rate_hz\")",
                      lost_.count()));
    }
    if (step == SampleClock::Step::restarted && restarts_.add()) {
      remark(
          fmt::format("its time went backwards, {} time(s) so far: it has started anew, or its "
                      "clock has run over",
                      restarts_.count()));
    }
  }

  void count_no_sample(std::string_view line) {
    if (!no_samples_.add()) return;
    constexpr std::size_t most_shown = 40;
    remark(
        fmt::format("sends lines that are no sample, {} so far; the last is \"{}\" (check "
                    "\"line\" and \"baud\")",
                    no_samples_.count(), cut(printable(line), most_shown)));
  }

  void count_outside(const LineSample& sample) {
    if (!outside_.add()) return;
    remark(
        fmt::format("sends values that are not within {} to {}, {} so far; the last is {} (check "
                    "\"lowest\" and \"highest\")",
                    channel_.lowest, channel_.highest, outside_.count(), sample.value));
  }

  void count_too_many() {
    if (!too_many_.add()) return;
    remark(
        fmt::format("sends more than twice {} samples a second: the rest is dropped, {} so far "
                    "(check \"rate_hz\")",
                    channel_.rate_hz, too_many_.count()));
  }

  // Whom it tells.

  void tell_chunk() {
    if (values_.empty()) return;
    const auto after_first = static_cast<std::int64_t>(values_.size()) - 1;
    uncertainty_ = clock_.uncertainty() + (file_ ? look_at_file : 0ms);
    hearers_.samples({.first = last_at_ - after_first * channel_.period(),
                      .period = channel_.period(),
                      .values = std::exchange(values_, {})});
    values_.reserve(most_in_chunk_);
  }

  void watch() {
    const bool is_there = port_ || file_;
    const bool silent = is_there && lines::kernel_now() - heard_ > long_silence;
    if (silent != std::exchange(is_silent_, silent)) {
      remark(silent ? "sends no samples: trials go on without it" : "sends samples again");
    }
    constexpr double borne = 0.03;  // what still stands in buffers
    const auto rate = rate_.rate_hz();
    const auto stated = static_cast<double>(channel_.rate_hz);
    if (rate && std::abs(*rate / stated - 1.0) > borne && !std::exchange(rate_told_, true)) {
      remark(
          fmt::format("sends {:.0f} samples a second, but \"rate_hz\" is {}: its instants are "
                      "wrong by as much",
                      *rate, channel_.rate_hz));
    }
    watch_timer_.after(watch_every, [this] { watch(); });
  }

  void remark(const std::string& text) const {
    if (hearers_.remark) hearers_.remark(fmt::format("channel \"{}\": {}", channel_.name, text));
  }

  using asio_stream = boost::asio::posix::stream_descriptor;
  static constexpr int most_reads = 16;

  Channel channel_;
  SampleHearers hearers_;
  std::size_t most_in_chunk_;

  boost::asio::io_context context_{1};
  asio_stream stream_{context_};
  OneTimer source_timer_{context_};  ///< looking at the file, or for the source
  OneTimer chunk_timer_{context_};
  OneTimer watch_timer_{context_};
  std::optional<SerialPort> port_{};
  std::optional<FollowedFile> file_{};
  std::string last_trouble_{};
  std::array<char, 4096> buffer_{};
  KernelInstant arrived_;
  KernelInstant heard_;  ///< the last sample, or since when it could be
  LineAssembler assembler_{[](std::string_view) {}};
  std::size_t dropped_lines_ = 0;
  bool is_within_line_ = true;

  SampleClock clock_{channel_.period()};
  SampleCap cap_{channel_.period()};
  RateWatch rate_{};
  std::vector<std::int32_t> values_{};
  KernelInstant last_at_;  ///< of the last of `values_`
  std::atomic<base::Duration> uncertainty_{base::Duration{}};

  Tally no_samples_{};
  Tally outside_{};
  Tally too_many_{};
  Tally lost_{};
  Tally restarts_{};
  bool is_silent_ = false;
  bool rate_told_ = false;

  std::thread thread_;
};

SampleListener::SampleListener(const Channel& channel, SampleHearers hearers)
    : ear_(std::make_unique<Ear>(channel, std::move(hearers))) {}

SampleListener::~SampleListener() = default;

base::Duration SampleListener::uncertainty() const { return ear_->uncertainty(); }

}  // namespace plexor::rig
