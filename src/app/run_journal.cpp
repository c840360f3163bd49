#include "app/run_journal.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <sys/utsname.h>

#include <algorithm>
#include <boost/uuid/random_generator.hpp>
#include <boost/uuid/uuid_io.hpp>
#include <cctype>
#include <chrono>
#include <cmath>
#include <optional>
#include <utility>
#include <variant>
#include <vector>

#include "app/aside.hpp"
#include "app/power_cut.hpp"
#include "app/surroundings.hpp"
#include "base/error.hpp"
#include "journal/reader.hpp"
#include "run/marks.hpp"
#include "run/replay.hpp"

namespace plexor::app {

namespace {

std::tm utc_now() {
  return fmt::gmtime(std::chrono::system_clock::to_time_t(std::chrono::system_clock::now()));
}

/// "Release check, oak counter" -> "release-check-oak-counter".
std::string slug(const std::string& name) {
  std::string words;
  for (const char c : name) {
    if (std::isalnum(static_cast<unsigned char>(c)) != 0) {
      words += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    } else if (!words.empty() && words.back() != '-') {
      words += '-';
    }
  }
  while (words.ends_with('-')) words.pop_back();
  return words.empty() ? "run" : words;
}

/// What people's clocks say when it begins; in virtual time without any, now.
std::tm begin_of(const journal::Segment& segment) {
  if (segment.wall_ns == 0) return utc_now();
  constexpr std::int64_t ns_per_s = 1'000'000'000;
  return fmt::gmtime(static_cast<std::time_t>(segment.wall_ns / ns_per_s + segment.utc_offset_s));
}

/// A folder of its own for this run.
std::filesystem::path dated_folder(const std::string& under, const std::string& scenario_name,
                                   const journal::Segment& segment) {
  const std::string base =
      fmt::format("{}/{:%Y-%m-%d_%H%M%S}_{}", under, begin_of(segment), slug(scenario_name));
  std::string name = base;
  for (int i = 2; std::filesystem::exists(name); ++i) name = fmt::format("{}_{}", base, i);
  return name;
}

/// In virtual time, or with lines that are no chip's.
bool is_simulated(const rig::RigFile& rig) {
  std::error_code none;
  return !rig.wiring || !std::filesystem::is_character_file(rig.wiring->chip, none);
}

journal::RigFacts facts_of(const rig::RigFile& rig) {
  journal::RigFacts facts;
  facts.name = rig.name;
  facts.simulated = is_simulated(rig);
  facts.calibrated = rig.calibration.has_value();
  constexpr double ug_per_kg = 1e9;
  facts.moving_mass_ug = std::llround(rig.limits.moving_mass_kg * ug_per_kg);
  facts.contact_sensed = rig.contact.is_sensed();
  if (rig.calibration) {
    facts.transit_sd = rig.calibration->transit_sd;
    facts.calibration_date = rig.calibration->date;
  }
  facts.surface = rig.setting.surface;
  facts.spot = rig.setting.spot;
  facts.mounting = rig.setting.mounting;
  for (const rig::Device& device : rig.devices) {
    journal::DeviceFacts& one =
        facts.devices.emplace_back(journal::DeviceFacts{device.name,
                                                        device.version,
                                                        device.line_time,
                                                        device.pattern_end_gap,
                                                        {},
                                                        device.position,
                                                        device.at});
    for (const rig::ListenerSettings& listener : device.listeners) {
      one.listeners.push_back({listener.name, rig::place_of(listener.way), {}});
    }
  }
  for (const rig::Channel& channel : rig.channels) {
    facts.channels.push_back({channel.name, channel.device, channel.rate_hz, channel.lowest,
                              channel.highest, channel.unit});
  }
  return facts;
}

journal::Header header_of(const Job& job, bool lifted, const LiveFacts& live) {
  journal::Header header;
  header.plexor_version = PLEXOR_VERSION;
  header.seed = job.scenario.seed;
  header.lifted = lifted;
  header.scenario_file = job.scenario_file;
  header.scenario_text = job.scenario_text;
  header.rig_file = job.rig_file;
  header.rig_text = job.rig_text;
  header.calibration_file = job.calibration.file;
  header.calibration_text = job.calibration.text;
  header.rig = facts_of(job.rig);
  for (std::size_t device = 0; device < live.arrival_widths.size(); ++device) {
    for (std::size_t listener = 0; listener < live.arrival_widths[device].size(); ++listener) {
      header.rig.devices.at(device).listeners.at(listener).arrival_width =
          live.arrival_widths[device][listener];
    }
  }
  return header;
}

journal::Host host_facts(const std::string& scheduling) {
  utsname system{};
  uname(&system);
  return {.started_utc = fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", utc_now()),
          .host_name = system.nodename,
          .system = fmt::format("{} {} {}", system.sysname, system.release, system.machine),
          .scheduling = scheduling,
          .run_id = to_string(boost::uuids::random_generator()())};
}

BegunRun begin_run(const Job& job, const RunOptions& options, const journal::Segment& segment,
                   const LiveFacts& live) {
  run::RunFolder folder = run::create_run_folder(
      options.out.empty() ? dated_folder(options.runs, job.scenario.name, segment)
                          : std::filesystem::path(options.out));
  run::RunLock lock(folder.root);
  auto file = journal::create_journal_file(folder.journal());
  if (job.simulation.power_cut) file = only_what_is_synced(std::move(file));
  journal::Writer journal(std::move(file));
  journal.append(header_of(job, options.lifted, live));
  journal.append(host_facts(live.scheduling));
  journal.append(segment);
  journal.flush();
  BegunRun begun{std::move(lock), std::move(folder), std::move(journal)};
  if (!job.rig.channels.empty()) {
    begun.waveforms.emplace(journal::create_waveform_file(begun.folder.waveforms()));
  }
  return begun;
}

/// A computer that is only thought of has no boot id of its own: each segment is a boot of it.
void tell_virtual_boots_apart(journal::Segment& segment, std::uint32_t number) {
  if (segment.boot_id == virtual_boot) segment.boot_id = fmt::format("{} {}", virtual_boot, number);
}

/// What people's clocks said in the segment that was interrupted, and how far it came.
class LastSegment {
 public:
  void take(const journal::Record& record) {
    std::visit([this](const auto& one) { on(one); }, record);
  }
  /// As it would stand in the journal; nothing where nobody had a clock.
  [[nodiscard]] std::optional<journal::Disturbance> told(const run::Mark& mark) const {
    if (wall_.unix_ns == 0) return std::nullopt;
    return journal::Disturbance{.name = mark.name,
                                .by = by_hand,
                                .from = instant_at(mark.from_unix_ns, wall_at_, wall_),
                                .to = instant_at(mark.to_unix_ns, wall_at_, wall_),
                                .at = latest_};
  }

 private:
  void on(const journal::Segment& segment) {
    wall_at_ = latest_ = base::segment_start;
    wall_ = {segment.wall_ns, segment.utc_offset_s};
  }
  void on(const journal::ClockSet& clock) {
    wall_at_ = clock.at;
    wall_ = {clock.wall_ns, clock.utc_offset_s};
    reach(clock.at);
  }
  void on(const journal::TrialPlanned& planned) { reach(planned.start); }
  void on(const journal::TrialDone& done) { reach(done.end); }
  void on(const journal::Heard& heard) { reach(heard.event.arrival); }
  void on(const journal::Disturbance& told) { reach(told.at); }
  template <typename Other>
  void on(const Other& /*says nothing of time that the others do not*/) {}
  void reach(base::Instant at) { latest_ = std::max(latest_, at); }

  base::Instant wall_at_;
  base::WallTime wall_;
  base::Instant latest_;
};

/// Marks that a killed run had not taken: whoever made them relies on them.
std::vector<journal::Disturbance> marks_not_taken(const run::RunFolder& folder, std::uint64_t taken,
                                                  const LastSegment& segment) {
  std::vector<journal::Disturbance> marks;
  run::MarkSpool spool(folder.marks(), taken);
  while (const auto mark = spool.next()) {
    if (auto told = segment.told(*mark)) marks.push_back(*std::move(told));
  }
  return marks;
}

BegunRun go_on_with(InterruptedRun interrupted, const Job& job, journal::Segment segment) {
  run::RunFolder folder = std::move(interrupted.folder);
  run::Replay replay(job.scenario, job.rig, interrupted.header.lifted);
  LastSegment last;
  std::uint64_t marks = 0;
  const journal::ReadSummary reading =
      journal::read_journal(folder.journal(), [&](const journal::Entry& entry) {
        replay.take(entry.record);
        last.take(entry.record);
        const auto* mark = std::get_if<journal::Disturbance>(&entry.record);
        if (mark != nullptr && mark->by == by_hand) ++marks;
      });
  const std::vector<journal::Disturbance> late_marks = marks_not_taken(folder, marks, last);
  for (const journal::Disturbance& mark : late_marks) replay.take(mark);
  run::Replay::Past past = replay.finish();
  journal::Writer journal(journal::open_journal_file(folder.journal()), reading.next_sequence);
  for (const journal::Disturbance& mark : late_marks) journal.append(mark);
  tell_virtual_boots_apart(segment, past.segments + 1);
  journal.append(segment);
  journal.sync();
  BegunRun begun{std::move(interrupted.lock), std::move(folder), std::move(journal)};
  begun.segment = past.segments;
  begun.marks_known = marks + late_marks.size();
  begun.so_far = std::move(past.ledger);
  if (!job.rig.channels.empty()) {
    const auto waves = journal::recover_waveforms(begun.folder.waveforms());
    begun.waveforms.emplace(journal::open_waveform_file(begun.folder.waveforms()), waves.go_on_at);
  }
  return begun;
}

}  // namespace

InterruptedRun take_up_run(const std::string& path) {
  run::RunFolder folder = run::open_run_folder(path);
  run::RunLock lock(folder.root);
  if (const auto torn = journal::recover_tail(folder.journal())) {
    say_aside("{}: {} bytes of an unfinished record were cut off the end of the journal.\n",
              folder.root.string(), torn->bytes);
  }
  journal::Header header;
  bool is_complete = false;
  (void)journal::read_journal(folder.journal(), [&](const journal::Entry& entry) {
    if (const auto* first = std::get_if<journal::Header>(&entry.record)) header = *first;
    const auto* ended = std::get_if<journal::Ended>(&entry.record);
    is_complete = ended != nullptr && ended->reason == journal::Ended::Reason::complete;
  });
  if (is_complete) {
    throw base::InputError({path, 0, 0}, "a run that is complete", "one that was interrupted",
                           "begin a new one, or see it with \"plexor report\"");
  }
  return {std::move(lock), std::move(folder), std::move(header)};
}

BegunRun begin_or_go_on(const Job& job, const RunOptions& options,
                        std::optional<InterruptedRun> interrupted, const journal::Segment& segment,
                        const LiveFacts& live) {
  if (interrupted) return go_on_with(*std::move(interrupted), job, segment);
  return begin_run(job, options, segment, live);
}

void BegunRun::keep(const journal::WaveRecord& wave) {
  waveforms.value().append(wave);
  waveforms->flush();
}

void BegunRun::finish() {
  if (waveforms) waveforms->sync();
}

}  // namespace plexor::app
