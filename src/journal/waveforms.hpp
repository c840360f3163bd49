#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "base/time.hpp"
#include "base/trial.hpp"
#include "journal/reader.hpp"
#include "journal/sink.hpp"

// What a run's channels showed, in a file of its own beside the journal: waveforms.bin.
// FORMAT.md says how it looks.

namespace plexor::journal {

/// Samples of one channel around one trial: from shortly before the first contact to the end of
/// its window (or shorter).
struct Waveform {
  base::TrialId trial{};
  std::uint32_t channel = 0;  ///< index into the run's channels
  base::Instant first{};      ///< when the first sample was taken
  base::Duration period{};    ///< between samples; not negative
  std::vector<std::int32_t> values{};

  bool operator==(const Waveform&) const = default;
};

/// What a channel did in a stretch of quiet: lowest and highest value in each bin of time.
struct QuietEnvelope {
  base::TrialId trial{};
  std::uint32_t channel = 0;  ///< index into the run's channels
  base::Instant first{};      ///< when the first bin began
  base::Duration bin{};       ///< length of each; not negative
  std::vector<std::int32_t> lowest{};
  std::vector<std::int32_t> highest{};  ///< as many as `lowest`

  bool operator==(const QuietEnvelope&) const = default;
};

using WaveRecord = std::variant<Waveform, QuietEnvelope>;

/// The file of a run folder that holds them.
inline constexpr std::string_view waveform_file_name = "waveforms.bin";
inline constexpr std::uint32_t waveform_format_version = 1;
/// So many values always fit one record (a bin has two); quiet ones, four times as many.
inline constexpr std::size_t values_that_fit = 3'000'000;

/// Creates (never overwrites) a file of waveforms; its folder entry is durable too. Throws
/// base::RigFault.
[[nodiscard]] std::unique_ptr<Sink> create_waveform_file(const std::filesystem::path& path);

/// Opens an existing one to append to it. Call recover_waveforms first. Throws base::RigFault.
[[nodiscard]] std::unique_ptr<Sink> open_waveform_file(const std::filesystem::path& path);

/// Appends records to a sink. The first failed write latches: every later call throws the same
/// base::RigFault, as the journal's Writer does.
class WaveformWriter {
 public:
  /// `go_on_at`: what recover_waveforms returned; nothing for a new file, which gets its first
  /// line.
  explicit WaveformWriter(std::unique_ptr<Sink> sink,
                          std::optional<std::uint64_t> go_on_at = std::nullopt);

  /// Buffers one record and returns its sequence number. Throws base::InputError for one that is
  /// too long to be read again (16 MiB) and std::logic_error for what FORMAT.md does not allow;
  /// neither latches.
  std::uint64_t append(const WaveRecord& record);
  /// Hands what is buffered to the operating system (survives this process, not a power cut).
  void flush();
  /// Flushes, and makes everything appended so far survive a power cut.
  void sync();

  [[nodiscard]] std::uint64_t next_sequence() const { return next_; }

 private:
  LatchingBuffer buffer_;
  std::string scratch_;
  std::uint64_t next_ = 0;
};

/// Streams the records in order to `take`, in bounded memory whatever the file holds. Damage is
/// named in the summary, never skipped silently; reading goes on at the next record (Damage::line
/// counts the file's lines, from 1). A file that ends within its first line, as one does that was
/// created by a run stopped before it wrote, has no records. Throws base::InputError for another
/// file, for a newer format, and if the file can't be read. A record is valid only during the call
/// of `take`.
ReadSummary read_waveforms(const std::filesystem::path& path,
                           const std::function<void(const WaveRecord&)>& take);

/// The same on bytes in memory (tests, fuzzing); `name` is for messages.
ReadSummary read_waveform_bytes(std::string_view bytes, const std::string& name,
                                const std::function<void(const WaveRecord&)>& take);

/// How far a file was written that a run goes on with.
struct RecoveredWaveforms {
  std::optional<std::uint64_t> go_on_at;  ///< for WaveformWriter; nothing: not even its first line
  std::optional<Damage> cut;              ///< the torn tail, if there was one
};

/// Cuts a torn tail off the file and makes the rest durable. Throws base::InputError for what
/// read_waveforms refuses and base::RigFault if the file can't be changed.
[[nodiscard]] RecoveredWaveforms recover_waveforms(const std::filesystem::path& path);

/// The file's first line. Exposed for tests and format checks, as is the next.
[[nodiscard]] std::string waveform_header(std::uint32_t version = waveform_format_version);

/// One record as it stands in the file, with its line's end.
void append_wave(std::string& out, std::uint64_t sequence, const WaveRecord& record);

}  // namespace plexor::journal
