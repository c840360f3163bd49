#include "report/night_builder.hpp"

#include <chrono>
#include <cmath>
#include <cstdint>
#include <string>
#include <utility>

#include "analysis/analyse.hpp"
#include "base/random.hpp"

namespace plexor::report {

namespace {

using namespace std::chrono_literals;

constexpr std::uint32_t trials_an_hour = 20;
constexpr std::uint32_t night_hours = 9;
constexpr std::uint32_t hour_of_the_cut = 3;
constexpr std::int64_t second_ns = 1'000'000'000;
/// 2026-06-11T20:30:00Z, two hours east of Greenwich.
constexpr std::int64_t evening_ns = 1'781'209'800 * second_ns;
constexpr std::int32_t summer_s = 7200;
constexpr std::int64_t dark_s = 2 * 3600 + 41 * 60;

constexpr const char* night_scenario = R"(
[scenario]
name = "night watch, oak counter"
purpose = "soak"
seed = 20260611
[rhythm.call]
contacts_ms = [0, 190]
expects = "call"
[[block]]
rhythm = "call"
trials = 180
strike_m_s = 0.9
window_ms = 1200
gap_ms = [1500, 2500]
[[block]]
quiet_s = 27000
[accept]
detection_rate = { at_least = 0.90, confidence = 0.95 }
false_alarms_per_hour = { at_most = 2.0, confidence = 0.90 }
)";

/// The night being told to the analysis.
class NightTeller {
 public:
  NightTeller() {
    journal::Header header;
    header.plexor_version = "0.1.0";
    header.seed = 20260611;
    header.scenario_file = "night-watch.toml";
    header.scenario_text = night_scenario;
    header.rig_file = "workshop.toml";
    header.rig = {.name = "workshop bench",
                  .simulated = true,
                  .calibrated = true,
                  .contact_sensed = true,
                  .calibration_date = "2026-06-02",
                  .surface = "oak counter, 40 mm, oiled",
                  .spot = "20 cm from the left edge",
                  .mounting = "double-sided tape, underside",
                  .devices = {{.name = "panel", .version = "1.5"}}};
    tell(header);
    tell(journal::Host{.started_utc = "2026-06-11T20:30:00Z",
                       .host_name = "bench-2",
                       .system = "Linux 6.1.0 x86_64",
                       .run_id = "7d444840-9dc0-11d1-b245-5ffdce74fad2"});
    begin_segment("before the power cut", 0);
  }

  analysis::Results results() {
    for (std::uint32_t hour = 0; hour < night_hours; ++hour) {
      if (hour == hour_of_the_cut) {
        begin_segment("after the power cut", base::to_s(now_.time_since_epoch()) + dark_s);
      }
      for (std::uint32_t trial = 0; trial < trials_an_hour; ++trial) present(hour, trial);
      if (hour == 5) cycle_power();
    }
    tell(journal::Ended{.reason = journal::Ended::Reason::complete, .detail = "", .at = now_});
    return analysis_.finish({.records = sequence_, .bytes = 180 * sequence_});
  }

 private:
  void tell(journal::Record record) { analysis_.take({sequence_++, std::move(record)}); }

  void begin_segment(const char* boot_id, double after_s) {
    const auto after_ns = static_cast<std::int64_t>(after_s) * second_ns;
    tell(journal::Segment{
        .boot_id = boot_id, .wall_ns = evening_ns + after_ns, .utc_offset_s = summer_s});
    now_ = base::segment_start + 2s;
  }

  static double draw(std::uint32_t number, std::uint32_t what) {
    const base::DrawKey key{7, 0, number, what, base::Purpose::disturbance};
    return static_cast<double>(base::uniform_bits(key) >> 11) * 0x1p-53;
  }

  void cycle_power() {
    tell(journal::ListenerState{.device = 0, .up = false, .at = now_});
    now_ += 41s;
    tell(journal::PowerCycle{.device = 0, .reason = "12 knocks in a row unanswered", .at = now_});
    tell(journal::ListenerState{.device = 0, .up = true, .at = now_});
  }

  void present(std::uint32_t hour, std::uint32_t trial) {
    const std::uint32_t number = hour * trials_an_hour + trial;
    knock(number, static_cast<double>(hour) + trial / double{trials_an_hour});
    now_ += 2s;
    listen(number, hour);
    now_ += 26s;
  }

  /// The device hears less from hour to hour, and later; the coil grows warm, the tapper slow.
  void knock(std::uint32_t number, double hour) {
    const base::Duration transit{std::llround(1e6 * (4.8 + 0.01 * hour + 0.01 * draw(number, 1)))};
    journal::TrialPlanned planned{
        .trial = {.id = {.block = 0, .number = number},
                  .rhythm = 0,
                  .taps = {{.contact = 0ms, .strike = {900'000}},
                           {.contact = 190ms, .strike = {900'000}}},
                  .window = 1200ms,
                  .gap = 2s},
        .start = now_,
        .coil_mc = static_cast<std::int32_t>(24'000 + 17'000 * (1.0 - std::exp(-hour)))};
    journal::TrialDone done{.id = planned.trial.id};
    for (const base::Tap& tap : planned.trial.taps) {
      done.contacts.push_back(now_ + tap.contact);
      planned.pulses.push_back({done.contacts.back() - transit, 4800us});
    }
    done.actual = planned.pulses;
    done.end = done.contacts.back() + 1200ms;
    tell(planned);
    if (draw(number, 2) > 0.01 + 0.035 * hour) {
      const double late_ms = 420.0 + 6.0 * hour + 40.0 * draw(number, 3);
      tell(journal::Heard{
          {.device = 0,
           .name = "call",
           .arrival = done.contacts.back() + base::Duration(std::llround(1e6 * late_ms))}});
    }
    tell(done);
    now_ = done.end;
  }

  /// Two and a half minutes of quiet: a few alarms, and disturbances with theirs.
  void listen(std::uint32_t number, std::uint32_t hour) {
    const base::Instant begin = now_;
    const base::TrialId id{.block = 1, .number = number};
    tell(journal::TrialPlanned{.trial = {.id = id, .kind = base::TrialKind::quiet, .window = 150s},
                               .start = begin});
    const bool by_door = number % 47 == 11;
    const bool by_feet = number % 31 == 8;
    if (draw(number, 4) < 0.02 + (hour == 6 ? 0.25 : 0.0)) alarm(begin + 20s);
    if (by_door || by_feet) alarm(begin + 65s);
    now_ = begin + 150s;
    tell(journal::TrialDone{.id = id, .end = now_});
    if (by_door) tell(journal::Disturbance{"kiln door", "hand", begin + 50s, begin + 80s});
    if (by_feet) tell(journal::Disturbance{"footsteps", "mat", begin + 60s, begin + 70s});
  }

  void alarm(base::Instant at) {
    tell(journal::Heard{{.device = 0, .name = "call", .arrival = at}});
  }

  analysis::Analysis analysis_;
  std::uint64_t sequence_ = 0;
  base::Instant now_;
};

}  // namespace

analysis::Results night_results() { return NightTeller().results(); }

}  // namespace plexor::report
