#include "report/terminal.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <string_view>
#include <vector>

#include "analysis/number_text.hpp"
#include "report/format.hpp"
#include "report/layout.hpp"
#include "report/soak_text.hpp"
#include "report/surface_text.hpp"
#include "report/text.hpp"

namespace plexor::report {

namespace {

using analysis::Judgement;

constexpr std::size_t mark_width = 9;  // of the longest mark word

/// Blue, orange and vermilion of the Okabe-Ito set, as near as the 256-colour table comes.
std::string_view colour_of(Judgement judgement) {
  switch (judgement) {
    case Judgement::pass:
    case Judgement::measured: return "\x1b[1;38;5;36m";
    case Judgement::fail: return "\x1b[1;38;5;166m";
    case Judgement::undecided: return "\x1b[1;38;5;214m";
  }
  return "";
}

/// The mark word, padded, coloured where allowed.
std::string mark(Judgement judgement, Style style, std::size_t width) {
  const std::string word = padded(mark_word(judgement), width);
  return style.colour ? fmt::format("{}{}\x1b[0m", colour_of(judgement), word) : word;
}

std::string verdict_lines(const analysis::Verdict& verdict, Style style) {
  const std::string n = sample_text(verdict);
  std::string out =
      fmt::format("  {}  {}: {} ({}; {})\n", mark(verdict.judgement, style, mark_width),
                  printable_line(verdict.figure), estimate_text(verdict), limit_label(verdict), n);
  return out + wrapped(printable_line(verdict.reason), mark_width + 4, style.width);
}

std::string rhythm_table(const analysis::DeviceResult& device) {
  std::vector<std::vector<std::string>> rows{
      {"rhythm", "correct", "95 % interval", "trials", "miss", "early", "late", "confusion"}};
  for (const analysis::RhythmResult& rhythm : device.rhythms) {
    std::string name = printable_line(rhythm.rhythm);
    if (rhythm.expects.empty()) name += " (to be ignored)";
    std::vector<std::string> row{
        name, share_text(rhythm.correct),
        rhythm.correct.wilson ? interval_text(*rhythm.correct.wilson, "") : "–",
        count(rhythm.correct.n)};
    for (const base::Outcome outcome : {base::Outcome::miss, base::Outcome::early,
                                        base::Outcome::late, base::Outcome::confusion}) {
      row.push_back(count(rhythm.outcomes[static_cast<std::size_t>(outcome)]));
    }
    rows.push_back(std::move(row));
  }
  return rows.size() > 1 ? table(rows) : "";
}

/// How the device's listeners compare, where it has several.
std::string listeners_table(const analysis::DeviceResult& device) {
  if (device.listeners.size() < 2) return "";
  std::vector<std::vector<std::string>> rows{
      {"rhythm", "heard by", "correct", "median latency", "95 % interval", "uncertainty"}};
  for (std::size_t i = 0; i < device.rhythms.size(); ++i) {
    if (device.rhythms[i].expects.empty()) continue;
    for (const analysis::ListenerResult& listener : device.listeners) {
      const analysis::RhythmResult& rhythm = listener.rhythms[i];
      rows.push_back({printable_line(rhythm.rhythm), printable_line(listener.name),
                      share_text(rhythm.correct),
                      rhythm.median_ms ? quantity(*rhythm.median_ms, "ms") : "–",
                      rhythm.median_interval ? interval_text(*rhythm.median_interval, "ms") : "–",
                      uncertain_quantity(listener.latency_budget.combined(), "ms")});
    }
  }
  return rows.size() > 1 ? "\n" + table(rows) : "";
}

std::string curve_lines(const analysis::Results& results, const analysis::DeviceResult& device,
                        Style style) {
  std::string out;
  for (const analysis::StrengthCurve& curve : device.curves) {
    const std::string where =
        results.spots.empty() ? "" : " at " + printable_line(spot_name(results, curve.spot));
    const auto& response = curve.response;
    std::string line = fmt::format("{}{}: {}", printable_line(curve.rhythm), where, response.word);
    if (response.s50 && response.s50->strength && results.header.rig.calibrated) {
      line += fmt::format("; half at {}", energy_text(*response.s50->strength, results.header.rig));
    }
    out += wrapped(line, 2, style.width);
    for (const std::string& remark : response.remarks) out += wrapped(remark, 4, style.width);
    if (curve.recheck) out += wrapped(curve.recheck->word, 4, style.width);
  }
  return out;
}

std::string channel_part(const analysis::Results& results, const analysis::ChannelSignal& channel,
                         Style style) {
  const journal::ChannelFacts& facts = results.header.rig.channels[channel.channel];
  std::string out = fmt::format("\nchannel {}\n", printable_line(facts.name));
  for (const analysis::SpotSignal& spot : channel.spots) {
    if (!results.spots.empty()) {
      out += fmt::format("  {}\n", printable_line(spot_name(results, spot.spot)));
    }
    for (const std::string& sentence : signal_sentences(spot, facts.unit)) {
      out += wrapped(sentence, results.spots.empty() ? 2 : 4, style.width);
    }
  }
  out += wrapped("advice: " + advice_text(channel, printable_line(facts.unit)), 2, style.width);
  for (const std::string& reason : channel.advice.reasons) out += wrapped(reason, 4, style.width);
  return out;
}

std::string device_part(const analysis::Results& results, const analysis::DeviceResult& device,
                        Style style) {
  std::string out = "\n";
  out += printable_line(device.name);
  if (!device.version.empty()) out += ", version " + printable_line(device.version);
  out += "\n";
  for (const analysis::Verdict& verdict : results.verdicts) {
    if (verdict.device == device.name) out += verdict_lines(verdict, style);
  }
  out += rhythm_table(device);
  out += curve_lines(results, device, style);
  out += listeners_table(device);
  for (const std::string& remark : device.remarks) {
    out += wrapped("look at: " + printable_line(remark), 2, style.width);
  }
  return out;
}

/// The course of the run: hours and drift of a long one, and what happened beside the taps.
std::string course_part(const analysis::Results& results, Style style) {
  std::string out;
  if (results.soak) {
    const analysis::SoakResults& soak = *results.soak;
    out +=
        wrapped(fmt::format("hour by hour ({}): {}", analysis::counted(soak.hours.size(), "hour"),
                            printable_line(soak.drift_word)),
                0, style.width);
    for (std::size_t device = 0; device < results.devices.size(); ++device) {
      const std::string extremes = extremes_text(soak, device);
      if (extremes.empty()) continue;
      out +=
          wrapped(printable_line(results.devices[device].name + ": " + extremes), 2, style.width);
    }
  }
  for (const std::string& sentence : course_sentences(results)) {
    out += wrapped(printable_line(sentence), 0, style.width);
  }
  return out.empty() ? out : "\n" + out;
}

std::string run_part(const analysis::Results& results, Style style) {
  std::string out = "\n";
  out += wrapped(
      fmt::format("voids: {} ({} of the presentations; at most {} allowed): {}",
                  count(void_total(results)), quantity(results.void_fraction, ""),
                  analysis::limit_text(results.max_void_fraction, ""), void_reasons(results)),
      0, style.width);
  if (const std::string early = early_stop_text(results); !early.empty()) {
    out += wrapped(early, 0, style.width);
  }
  const bool complete = results.ended && results.ended->reason == journal::Ended::Reason::complete;
  if (results.is_live) {
    out += wrapped("the run still goes on: all figures are so far", 0, style.width);
  } else if (!complete) {
    out +=
        wrapped("the run did not finish: " + printable_line(ending_text(results)), 0, style.width);
  }
  if (results.waveforms_reading && results.waveforms_reading->damage_count > 0) {
    out += wrapped(fmt::format("the waveforms are damaged in {} places; see the report",
                               count(results.waveforms_reading->damage_count)),
                   0, style.width);
  }
  if (results.reading.damage_count > 0) {
    out += wrapped(fmt::format("the journal is damaged in {} places; see the report",
                               count(results.reading.damage_count)),
                   0, style.width);
  }
  return out;
}

}  // namespace

std::string summary(const analysis::Results& results, Style style) {
  const std::string_view word = mark_word(results.overall);
  std::string headline = wrapped(
      fmt::format("{}  {}", word, printable_line(headline_beside_mark(results))), 0, style.width);
  std::string out = headline.replace(0, word.size(), mark(results.overall, style, 0));
  if (results.header.rig.simulated) {
    out += wrapped("simulated: measured on a virtual rig, no evidence about a real device", 0,
                   style.width);
  }
  if (results.header.lifted) {
    out += wrapped("lifted: the tapper was clear of the surface", 0, style.width);
  }
  for (const analysis::DeviceResult& device : results.devices) {
    out += device_part(results, device, style);
  }
  for (const analysis::ChannelSignal& channel : results.channels) {
    out += channel_part(results, channel, style);
  }
  for (const std::string& sentence : map_sentences(results)) {
    out += wrapped(printable_line(sentence), 0, style.width);
  }
  return out + course_part(results, style) + run_part(results, style);
}

}  // namespace plexor::report
