#include <fmt/format.h>

#include "base/calendar.hpp"
#include "virtual/parse_parts.hpp"

namespace plexor::virtual_rig {

namespace {

using base::TableReader;
using namespace std::chrono_literals;

// Keeps the detector's sums of squares inside 64 bits (see PeakDetector).
constexpr std::int64_t longest_window = 1024;
constexpr TableReader::Range boot_range_ms{1, 600'000};

std::vector<KnownRhythm> read_rhythms(TableReader& in) {
  std::vector<KnownRhythm> rhythms;
  for (TableReader& table : in.tables("rhythm")) {
    KnownRhythm rhythm;
    rhythm.name = table.text("name");
    rhythm.intervals = table.duration_ranges("intervals_ms", {1, 10'000});
    constexpr std::size_t most_intervals = 60;
    if (rhythm.intervals.size() > most_intervals) {
      table.fail("intervals_ms", fmt::format("{} intervals", rhythm.intervals.size()),
                 fmt::format("at most {}", most_intervals));
    }
    table.finish();
    rhythms.push_back(std::move(rhythm));
  }
  if (rhythms.empty()) {
    in.fail("rhythm", "no rhythm", "at least one", "begin each with [[simulated.device.rhythm]]");
  }
  return rhythms;
}

PeakSettings read_peak(TableReader& in) {
  PeakSettings peak;
  peak.window = in.whole("window", 8, longest_window);
  peak.k_sigma = in.number("k_sigma", {1, 1000});
  peak.min_lsb = in.number_or("min_lsb", {0, 65536}, 0.0);
  peak.influence = in.number_or("influence", {0, 1}, 0.0);
  return peak;
}

EnvelopeSettings read_envelope(TableReader& in) {
  EnvelopeSettings envelope;
  envelope.smooth = in.duration("smooth_ms", {0.1, 100});
  envelope.min_lsb = in.number("min_lsb", {0.5, 65536});
  envelope.k_noise = in.number_or("k_noise", {0, 1000}, 0.0);
  envelope.release = in.number_or("release", {0.05, 1}, 0.5);
  return envelope;
}

std::variant<SerialLink, RadioLink> read_link(TableReader& in) {
  if (in.has("beacon_ms")) {
    return RadioLink{.overhead = in.duration_or("radio_ms", {0, 10'000}, 0ms),
                     .beacon = in.duration("beacon_ms", {0.1, 10'000})};
  }
  return SerialLink{.baud = in.whole("baud", 300, 4'000'000),
                    .poll = in.duration_or("poll_ms", {0, 1000}, 0ms)};
}

OutageSettings read_outages(TableReader& in) {
  constexpr TableReader::Range rates{0.001, 1000};
  OutageSettings outages;
  if (in.has("resets_per_hour")) {
    outages.resets_per_hour = in.number("resets_per_hour", rates);
    outages.boot = in.duration("boot_ms", boot_range_ms);
  }
  if (in.has("hangs_per_hour")) {
    outages.hangs_per_hour = in.number("hangs_per_hour", rates);
    outages.hang = in.duration("hang_ms", {1, 86'400'000});
  }
  return outages;
}

AgeingSettings read_ageing(TableReader in) {
  AgeingSettings ageing;
  const std::string since = in.text("since");
  const auto day = base::day_of(since);
  if (!day || since.size() != std::string_view("2026-06-08").size()) {
    in.fail("since", fmt::format("the text \"{:.40}\"", since), "a day, as \"2026-06-08\"");
  }
  ageing.since_ns = std::chrono::nanoseconds(day->time_since_epoch()).count();
  ageing.gain_per_day = in.number("gain_per_day", {-0.5, 0.5});
  in.finish();
  return ageing;
}

FirmwareSettings read_firmware(TableReader& in) {
  FirmwareSettings firmware;
  const bool by_envelope =
      in.has("detector") && in.choice("detector", {"peak", "envelope"}) == "envelope";
  if (by_envelope) {
    firmware.detector = read_envelope(in);
  } else {
    firmware.detector = read_peak(in);
  }
  firmware.lockout = in.duration("lockout_ms", {0, 5000});
  firmware.decision_gap = in.duration("decision_gap_ms", {50, 10'000});
  firmware.link = read_link(in);
  firmware.outages = read_outages(in);
  firmware.sensitivity = in.number_or("sensitivity", {0.01, 100}, 1.0);
  if (auto ageing = in.table_if("ageing")) firmware.ageing = read_ageing(std::move(*ageing));
  firmware.rhythms = read_rhythms(in);
  return firmware;
}

DiceSettings read_dice(TableReader& in) {
  DiceSettings dice;
  dice.detects = in.number("detects", {0, 1});
  dice.decision_gap = in.duration("decision_gap_ms", {1, 10'000});
  dice.latency = in.duration("latency_ms", {0, 60'000});
  if (dice.latency < dice.decision_gap) {
    in.fail("latency_ms", fmt::format("{} ms", base::to_ms(dice.latency)),
            fmt::format("at least decision_gap_ms ({} ms)", base::to_ms(dice.decision_gap)),
            "a rhythm is known to have ended only after that gap");
  }
  dice.spread = in.duration_or("spread_ms", {0, 60'000}, 0ms);
  if (in.has("spread") && in.choice("spread", {"uniform", "exponential"}) == "exponential") {
    dice.spread_kind = DiceSettings::Spread::exponential;
  }
  if (in.has("false_alarms_per_hour") && in.number("false_alarms_per_hour", {0, 100'000}) > 0.0) {
    dice.false_alarms_per_hour = in.number("false_alarms_per_hour", {0.001, 100'000});
  }
  dice.rhythms = read_rhythms(in);
  return dice;
}

}  // namespace

LifeSettings read_life(TableReader& in) {
  LifeSettings life;
  if (in.has("hangs_at_s")) life.hangs_at = in.durations("hangs_at_s", {0, 10'000'000});
  if (in.has("boot_ms")) life.boot = in.duration("boot_ms", boot_range_ms);
  return life;
}

DeviceSettings read_device(TableReader& in) {
  const bool is_dice = in.choice("model", {"firmware", "dice"}) == "dice";
  DeviceSettings settings =
      is_dice ? DeviceSettings{read_dice(in)} : DeviceSettings{read_firmware(in)};
  in.finish();
  return settings;
}

}  // namespace plexor::virtual_rig
