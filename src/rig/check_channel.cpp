#include "rig/check_channel.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <mutex>
#include <string>
#include <utility>

#include "base/error.hpp"
#include "rig/sample_listener.hpp"

namespace plexor::rig {

namespace {

using namespace std::chrono_literals;
using State = Finding::State;

/// What came in a while.
struct HeardSamples {
  std::int64_t count = 0;
  base::Duration length{};  ///< of the while
  std::int32_t lowest = 0;
  std::int32_t highest = 0;
  std::string remark{};  ///< the first
  base::Duration uncertainty{};
};

void add_chunk(HeardSamples& heard, const SampleChunk& chunk) {
  const auto [lowest, highest] = std::minmax_element(chunk.values.begin(), chunk.values.end());
  heard.lowest = heard.count == 0 ? *lowest : std::min(heard.lowest, *lowest);
  heard.highest = heard.count == 0 ? *highest : std::max(heard.highest, *highest);
  heard.count += static_cast<std::int64_t>(chunk.values.size());
}

HeardSamples hear_for(const Channel& channel, base::Duration length) {
  std::mutex mutex;
  HeardSamples heard;
  SampleListener listener(channel, {.samples =
                                        [&](const SampleChunk& chunk) {
                                          const std::scoped_lock lock(mutex);
                                          add_chunk(heard, chunk);
                                        },
                                    .remark =
                                        [&](const std::string& text) {
                                          const std::scoped_lock lock(mutex);
                                          if (heard.remark.empty()) heard.remark = text;
                                        }});
  const auto count = [&] {
    const std::scoped_lock lock(mutex);
    return heard.count;
  };
  // A port may have been reset, and what stood in buffers comes at once.
  constexpr base::Duration becoming_steady = 300ms;
  lines::kernel_sleep_until(lines::kernel_now() + becoming_steady);
  const lines::KernelInstant begin = lines::kernel_now();
  const std::int64_t before = count();
  lines::kernel_sleep_until(begin + length);
  const std::scoped_lock lock(mutex);
  heard.length = lines::kernel_now() - begin;  // longer where this thread was held up
  heard.count -= before;
  heard.uncertainty = listener.uncertainty();
  return heard;
}

Finding judge_samples(const Channel& channel, const HeardSamples& heard) {
  const std::string subject = fmt::format("samples of \"{}\"", channel.name);
  if (heard.count == 0) {
    return {State::bad, subject,
            fmt::format("none within {:.1f} s{}{}", base::to_s(heard.length),
                        heard.remark.empty() ? "" : "; ", heard.remark),
            "check that it sends, \"baud\" and \"line\""};
  }
  const double rate_hz = static_cast<double>(heard.count) / base::to_s(heard.length);
  const std::string found =
      fmt::format("{:.0f} a second, {} to {} {}, instants to {:.1f} ms", rate_hz, heard.lowest,
                  heard.highest, channel.unit, base::to_ms(heard.uncertainty));
  constexpr double borne = 0.1;  // chunks and buffers of senders
  if (std::abs(rate_hz / static_cast<double>(channel.rate_hz) - 1.0) > borne) {
    return {State::bad, subject, fmt::format("{}; the rig file says {}", found, channel.rate_hz),
            "correct \"rate_hz\", or find where samples are lost"};
  }
  if (heard.lowest < channel.lowest || heard.highest > channel.highest) {
    return {State::bad, subject,
            fmt::format("{}; the rig file says {} to {}", found, channel.lowest, channel.highest),
            "correct \"lowest\" and \"highest\""};
  }
  if (!heard.remark.empty()) {
    return {State::warning, subject, found + "; " + heard.remark, "see what it says"};
  }
  return {State::good, subject, found};
}

}  // namespace

std::vector<Finding> check_channel(const Channel& channel) {
  constexpr base::Duration length = 1s;
  try {
    return {judge_samples(channel, hear_for(channel, length))};
  } catch (const base::RigFault& fault) {
    return {{State::bad, fmt::format("samples of \"{}\"", channel.name), fault.what(),
             "check [[channel]] in the rig file, and who else holds it"}};
  }
}

}  // namespace plexor::rig
