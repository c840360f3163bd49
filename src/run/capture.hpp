#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "base/time.hpp"
#include "base/trial.hpp"
#include "journal/waveforms.hpp"
#include "rig/ports.hpp"

namespace plexor::run {

/// Cuts what the channels stream into what belongs to each trial. Pure; memory stays bounded by one
/// trial: of a stretch of quiet only the outermost values of each bin are kept.
class Capture {
 public:
  /// Kept before a trial's first contact, where nothing rings but what the surface always does.
  static constexpr base::Duration lead = std::chrono::milliseconds{100};
  /// Kept after the last contact, at the most: longer than what any surface rings.
  static constexpr base::Duration longest_tail = std::chrono::seconds{1};
  /// Of a quiet envelope.
  static constexpr base::Duration bin = std::chrono::milliseconds{10};

  explicit Capture(std::uint32_t channels);

  /// A trial begins whose first contact (quiet: its begin) is planned for `first_contact`.
  void begin(const base::TrialId& trial, base::TrialKind kind, base::Instant first_contact);
  /// In the order of each channel's time; between channels in any, and as late as they come.
  void take(const rig::SamplesHeard& samples);
  /// The trial is over, and its last contact was then (quiet: the end): what each channel that
  /// streams showed of it. Nothing where no trial began.
  [[nodiscard]] std::vector<journal::WaveRecord> finish(base::Instant last_contact);

 private:
  /// Samples without a gap.
  struct Stretch {
    base::Instant first;
    base::Duration period{};
    std::vector<std::int32_t> values{};

    [[nodiscard]] base::Instant end() const;
    void keep_from(base::Instant instant);
  };
  struct OneChannel {
    Stretch recent{};
    std::vector<journal::QuietEnvelope> quiet{};  ///< a new one after each gap
  };
  struct Current {
    base::TrialId trial;
    bool quiet = false;
    base::Instant from;
  };
  void add_to_envelope(const rig::SamplesHeard& samples,
                       std::vector<journal::QuietEnvelope>& quiet) const;

  std::vector<OneChannel> channels_;
  std::optional<Current> current_;
};

}  // namespace plexor::run
