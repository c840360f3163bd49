#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "base/time.hpp"
#include "lines/lines.hpp"
#include "rig/rig_file.hpp"

namespace plexor::rig {

/// A channel's next samples, at most 50 ms of them (one, where they are rarer).
struct SampleChunk {
  lines::KernelInstant first;  ///< when the first of them was taken
  base::Duration period{};     ///< between them: the rig file's
  std::vector<std::int32_t> values{};
};

/// Whom a channel's listener tells; called on its thread.
struct SampleHearers {
  /// In the order in which they were sent, each at most 50 ms after its last sample came.
  std::function<void(SampleChunk)> samples;
  /// For people: what is wrong; each thing once, and again when there is ten times as much of it.
  std::function<void(const std::string& text)> remark{};
};

/// Hears one channel, on a thread of its own. Its source is looked for again when it is gone; what
/// is no sample is counted and said; more than twice the channel's rate is dropped and said, so
/// that whatever comes, memory is bounded. Instants are by SampleClock: what was lost without a
/// stamp that tells so is noticed within about half a second, and until then they are too early by
/// that much.
class SampleListener {
 public:
  /// Of a rig of kind lines. Throws base::RigFault if its port or file can't be had.
  SampleListener(const Channel& channel, SampleHearers hearers);
  /// At once; what has come and was not told is dropped.
  ~SampleListener();
  SampleListener(const SampleListener&) = delete;
  SampleListener& operator=(const SampleListener&) = delete;

  /// Of the last instant told: SampleClock::uncertainty, and a file is looked at so often.
  [[nodiscard]] base::Duration uncertainty() const;

 private:
  class Ear;
  std::unique_ptr<Ear> ear_;
};

}  // namespace plexor::rig
