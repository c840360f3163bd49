#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "report/format.hpp"
#include "report/page_view.hpp"

namespace plexor::report {

namespace {

using analysis::Beside;
using analysis::DeviceResult;
using analysis::ListenerResult;
using analysis::RhythmResult;

std::string earlier_or_later(double ms, const std::string& first) {
  if (ms == 0.0) return "as soon as " + first;
  return fmt::format("{} {} than {}", quantity(std::abs(ms), "ms"), ms > 0.0 ? "later" : "earlier",
                     first);
}

/// Names the listener that is furthest from the first one.
std::string title_of(const DeviceResult& device) {
  const ListenerResult* furthest = nullptr;
  const auto distance = [](const ListenerResult& one) {
    return std::abs(one.beside->later.ms.value());
  };
  for (const ListenerResult& one : device.listeners) {
    if (!one.beside || !one.beside->later.ms) continue;
    if (furthest == nullptr || distance(one) > distance(*furthest)) furthest = &one;
  }
  if (furthest == nullptr) return "Nothing was heard by more than one listener";
  return fmt::format("Half of the answers came by {} at least {}", furthest->name,
                     earlier_or_later(*furthest->beside->later.ms, device.listeners.front().name));
}

View latency_row(const RhythmResult& rhythm, const ListenerResult& listener, bool is_first) {
  const double u_ms = listener.latency_budget.combined();
  return {{"rhythm", rhythm.rhythm},
          {"begins", is_first},
          {"listener", listener.name},
          {"detected", share_text(rhythm.correct)},
          {"right", count(rhythm.correct.x)},
          {"n", count(rhythm.correct.n)},
          {"median", rhythm.median_ms ? quantity(*rhythm.median_ms, "ms") : "–"},
          {"interval", interval_or_dash(rhythm.median_interval, "ms")},
          {"u", u_ms > 0.0 ? uncertain_quantity(u_ms, "ms") : "–"}};
}

View latency_rows(const DeviceResult& device) {
  View rows = View::array();
  for (std::size_t i = 0; i < device.rhythms.size(); ++i) {
    if (device.rhythms[i].expects.empty()) continue;
    for (const ListenerResult& listener : device.listeners) {
      rows.push_back(
          latency_row(listener.rhythms[i], listener, &listener == &device.listeners.front()));
    }
  }
  return rows;
}

View listener_row(const ListenerResult& listener) {
  const Beside* beside = listener.beside ? &*listener.beside : nullptr;
  const bool compared = beside != nullptr && beside->later.ms.has_value();
  return {{"listener", listener.name},
          {"place", listener.place},
          {"detected", share_text(listener.detection)},
          {"later", compared ? quantity(*beside->later.ms, "ms") : "–"},
          {"interval", compared ? interval_or_dash(beside->later.interval, "ms") : "–"},
          {"both", beside != nullptr ? count(beside->both) : "–"},
          {"only_here", beside != nullptr ? count(beside->only_here) : "–"},
          {"only_first", beside != nullptr ? count(beside->only_first) : "–"},
          {"alarms", count(listener.false_alarms.incidents)},
          {"u", uncertainty_text(listener.latency_budget)}};
}

}  // namespace

std::string uncertainty_text(const analysis::Budget& budget) {
  if (budget.contributions.empty()) return "none known";
  std::string parts;
  for (const analysis::Contribution& one : budget.contributions) {
    parts += fmt::format("{}{} {}", parts.empty() ? "" : ", ", one.source,
                         uncertain_quantity(one.u, "ms"));
  }
  return fmt::format("{} ({})", uncertain_quantity(budget.combined(), "ms"), parts);
}

View listeners_view(const DeviceResult& device) {
  if (device.listeners.size() < 2) return false;
  View rows = View::array();
  for (const ListenerResult& listener : device.listeners) rows.push_back(listener_row(listener));
  return {{"title", title_of(device)},
          {"first", device.listeners.front().name},
          {"latencies", latency_rows(device)},
          {"rows", rows}};
}

}  // namespace plexor::report
