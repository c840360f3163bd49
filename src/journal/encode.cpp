#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <concepts>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "journal/frame.hpp"
#include "journal/writer.hpp"

namespace plexor::journal {
namespace {

bool needs_no_escape(std::string_view text) {
  return std::ranges::all_of(text,
                             [](char c) { return c >= ' ' && c <= '~' && c != '"' && c != '\\'; });
}

void append_text(std::string& out, std::string_view text) {
  if (needs_no_escape(text)) {
    out += '"';
    out += text;
    out += '"';
    return;
  }
  // A device may send any bytes; what is not UTF-8 becomes U+FFFD, and the line stays JSON.
  out += nlohmann::json(text).dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

template <std::integral Number>
void append_number(std::string& out, Number number) {
  const fmt::format_int digits(number);
  out.append(digits.data(), digits.size());
}

std::int64_t within(std::int64_t value, std::int64_t low, std::int64_t high) {
  if (value < low || value > high) {
    throw std::logic_error(fmt::format("{} is outside what the journal can hold", value));
  }
  return value;
}

std::int64_t count(base::Duration duration) {
  return within(duration.count(), -max_run_ns, max_run_ns);
}
std::int64_t count(base::Instant instant) { return count(instant.time_since_epoch()); }
std::int64_t count(base::StrikeSpeed speed) { return within(speed.um_s, 0, max_strike_um_s); }

/// Appends the members of one object, in the order of the calls.
class MemberWriter {
 public:
  explicit MemberWriter(std::string& out) : out_(out) {}

  template <std::integral Number>
  void number(std::string_view key, Number value) {
    name(key);
    append_number(out_, value);
  }
  template <typename Time>
  void time(std::string_view key, Time value) {
    number(key, count(value));
  }
  void flag(std::string_view key, bool value) {
    name(key);
    out_ += value ? "true" : "false";
  }
  void text(std::string_view key, std::string_view value) {
    name(key);
    append_text(out_, value);
  }
  /// A figure that a device sent: null if it is not a number.
  void real(std::string_view key, double value) {
    name(key);
    if (std::isfinite(value)) {
      fmt::format_to(std::back_inserter(out_), "{}", value);
    } else {
      out_ += "null";
    }
  }
  void nothing(std::string_view key) {
    name(key);
    out_ += "null";
  }
  void id(const base::TrialId& id) {
    const std::uint32_t parts[] = {id.block, id.number, id.attempt};
    list("id", parts, [](std::uint32_t part) { return part; });
  }
  /// A list of the whole numbers that `pick` finds in the items.
  template <typename Items, typename Pick>
  void list(std::string_view key, const Items& items, Pick pick) {
    name(key);
    out_ += '[';
    bool first = true;
    for (const auto& item : items) {
      if (!first) out_ += ',';
      first = false;
      append_number(out_, pick(item));
    }
    out_ += ']';
  }
  void open(std::string_view key, char bracket) {
    name(key);
    out_ += bracket;
  }
  void close(char bracket) { out_ += bracket; }

 private:
  void name(std::string_view key) {
    if (out_.back() != '{') out_ += ',';
    out_ += '"';
    out_ += key;
    out_ += "\":";
  }

  std::string& out_;
};

void append_listener(std::string& out, const ListenerFacts& listener) {
  if (out.back() != '[') out += ',';
  out += '{';
  MemberWriter members(out);
  members.text("name", listener.name);
  members.text("place", listener.place);
  members.time("arrival_width_ns", listener.arrival_width);
  out += '}';
}

void append_device(std::string& out, const DeviceFacts& device) {
  if (out.back() != '[') out += ',';
  out += '{';
  MemberWriter members(out);
  members.text("name", device.name);
  members.text("version", device.version);
  members.time("line_time_ns", device.line_time);
  members.time("pattern_end_gap_ns", device.pattern_end_gap);
  if (!device.position.empty()) members.text("position", device.position);
  if (device.at) {
    members.number("x_um", within(device.at->x_um, -max_surface_um, max_surface_um));
    members.number("y_um", within(device.at->y_um, -max_surface_um, max_surface_um));
  }
  if (!device.listeners.empty()) {
    members.open("listeners", '[');
    for (const ListenerFacts& listener : device.listeners) append_listener(out, listener);
    members.close(']');
  }
  out += '}';
}

void append_channel(std::string& out, const ChannelFacts& channel) {
  if (out.back() != '[') out += ',';
  out += '{';
  MemberWriter members(out);
  members.text("name", channel.name);
  if (channel.device) members.number("device", *channel.device);
  members.number("rate_hz", channel.rate_hz);
  members.number("lowest", channel.lowest);
  members.number("highest", channel.highest);
  members.text("unit", channel.unit);
  out += '}';
}

/// Appends type and members of each kind of record.
class Encoder {
 public:
  explicit Encoder(std::string& out) : out_(out), members_(out) {}

  void operator()(const Header& header) {
    members_.text("type", "header");
    members_.number("format", header.format);
    members_.text("plexor", header.plexor_version);
    members_.number("seed", header.seed);
    members_.flag("lifted", header.lifted);
    members_.text("scenario_file", header.scenario_file);
    members_.text("scenario", header.scenario_text);
    members_.text("rig_file", header.rig_file);
    members_.text("rig", header.rig_text);
    if (!header.calibration_file.empty()) {
      members_.text("calibration_file", header.calibration_file);
      members_.text("calibration", header.calibration_text);
    }
    members_.open("facts", '{');
    facts(header.rig);
    members_.close('}');
  }

  void operator()(const Host& host) {
    members_.text("type", "host");
    members_.text("started_utc", host.started_utc);
    members_.text("host_name", host.host_name);
    members_.text("system", host.system);
    if (!host.scheduling.empty()) members_.text("scheduling", host.scheduling);
    if (!host.run_id.empty()) members_.text("run_id", host.run_id);
  }

  void operator()(const Segment& segment) {
    members_.text("type", "segment");
    members_.text("boot_id", segment.boot_id);
    members_.number("monotonic_ns", within(segment.monotonic_ns, -max_system_ns, max_system_ns));
    wall(segment.wall_ns, segment.utc_offset_s);
  }

  void operator()(const TrialPlanned& planned) {
    const base::Trial& trial = planned.trial;
    members_.text("type", "trial");
    members_.id(trial.id);
    if (trial.kind == base::TrialKind::rhythm) {
      members_.number("rhythm", trial.rhythm);
    } else {
      members_.text("kind", base::to_text(trial.kind));
    }
    members_.list("tap_ns", trial.taps, [](const base::Tap& tap) { return count(tap.contact); });
    members_.list("strike_um_s", trial.taps,
                  [](const base::Tap& tap) { return count(tap.strike); });
    members_.time("window_ns", trial.window);
    members_.time("gap_ns", trial.gap);
    members_.time("start_ns", planned.start);
    pulses(planned.pulses);
    members_.number("coil_mc", planned.coil_mc);
  }

  void operator()(const TrialDone& done) {
    members_.text("type", "done");
    members_.id(done.id);
    members_.time("end_ns", done.end);
    pulses(done.actual);
    members_.list("contact_ns", done.contacts, [](base::Instant at) { return count(at); });
    if (done.void_reason) members_.text("void", base::to_text(*done.void_reason));
  }

  void operator()(const Heard& heard) {
    const base::Event& event = heard.event;
    members_.text("type", "event");
    members_.number("device", event.device);
    listener_if_not_first(event.listener);
    members_.text("name", event.name);
    members_.time("at_ns", event.arrival);
    if (event.device_time) device_time(event.device_time->count());
    if (event.strength) members_.real("strength", *event.strength);
  }

  void operator()(const ListenerState& listener) {
    members_.text("type", "listener");
    members_.number("device", listener.device);
    listener_if_not_first(listener.listener);
    members_.flag("up", listener.up);
    members_.time("at_ns", listener.at);
  }

  void operator()(const ReferenceShift& shift) {
    members_.text("type", "reference-shift");
    members_.time("at_ns", shift.at);
    members_.time("shift_ns", shift.shift);
    members_.number("voided", shift.voided);
  }

  void operator()(const LeaveEnded& left) {
    members_.text("type", "leave-ended");
    members_.text("reason", left.reason);
    members_.time("at_ns", left.at);
  }

  void operator()(const Moved& moved) {
    members_.text("type", "moved");
    members_.number("spot", moved.spot);
    members_.time("at_ns", moved.at);
  }

  void operator()(const RawLine& line) {
    members_.text("type", "line");
    members_.number("device", line.device);
    listener_if_not_first(line.listener);
    members_.text("text", line.text);
    members_.time("at_ns", line.at);
  }

  void operator()(const Ended& ended) {
    members_.text("type", "ended");
    members_.text("reason", to_text(ended.reason));
    members_.text("detail", ended.detail);
    members_.time("at_ns", ended.at);
  }

  void operator()(const ClockSet& clock) {
    members_.text("type", "clock");
    members_.time("at_ns", clock.at);
    wall(clock.wall_ns, clock.utc_offset_s);
  }

  void operator()(const LeaveGiven& leave) {
    members_.text("type", "leave-given");
    members_.time("at_ns", leave.at);
  }

  void operator()(const Disturbance& disturbance) {
    members_.text("type", "disturbance");
    members_.text("name", disturbance.name);
    members_.text("by", disturbance.by);
    members_.time("from_ns", disturbance.from);
    members_.time("to_ns", disturbance.to);
    members_.time("at_ns", disturbance.at);
  }

  void operator()(const PowerCycle& cycle) {
    members_.text("type", "power-cycle");
    members_.number("device", cycle.device);
    members_.text("reason", cycle.reason);
    members_.time("at_ns", cycle.at);
  }

 private:
  void wall(std::int64_t wall_ns, std::int32_t utc_offset_s) {
    members_.number("wall_ns", within(wall_ns, -max_system_ns, max_system_ns));
    if (utc_offset_s != 0) {
      members_.number("utc_offset_s", within(utc_offset_s, -max_utc_offset_s, max_utc_offset_s));
    }
  }
  void listener_if_not_first(std::uint32_t listener) {
    if (listener > 0) members_.number("listener", listener);
  }
  void facts(const RigFacts& rig) {
    members_.text("name", rig.name);
    members_.flag("simulated", rig.simulated);
    members_.flag("calibrated", rig.calibrated);
    members_.flag("contact_sensed", rig.contact_sensed);
    members_.time("transit_sd_ns", rig.transit_sd);
    members_.text("calibration_date", rig.calibration_date);
    members_.number("moving_mass_ug", rig.moving_mass_ug);
    members_.text("surface", rig.surface);
    members_.text("spot", rig.spot);
    members_.text("mounting", rig.mounting);
    members_.open("devices", '[');
    for (const DeviceFacts& device : rig.devices) append_device(out_, device);
    members_.close(']');
    if (rig.channels.empty()) return;
    members_.open("channels", '[');
    for (const ChannelFacts& channel : rig.channels) append_channel(out_, channel);
    members_.close(']');
  }

  void pulses(const std::vector<base::Pulse>& pulses) {
    members_.list("on_ns", pulses, [](const base::Pulse& pulse) { return count(pulse.on); });
    members_.list("pulse_ns", pulses,
                  [](const base::Pulse& pulse) { return count(pulse.on_time); });
  }

  /// The device's own figure: nobody's bug here if it is absurd.
  void device_time(std::int64_t ns) {
    if (ns >= -max_run_ns && ns <= max_run_ns) {
      members_.number("device_time_ns", ns);
    } else {
      members_.nothing("device_time_ns");
    }
  }

  std::string& out_;
  MemberWriter members_;
};

}  // namespace

void append_line(std::string& out, std::uint64_t sequence, const Record& record) {
  const std::size_t begin = out.size();
  open_line(out);
  out += "\"seq\":";
  append_number(out, sequence);
  std::visit(Encoder{out}, record);
  close_line(out, begin);
}

}  // namespace plexor::journal
