#include "journal/decode.hpp"

#include <fmt/format.h>

#include <concepts>
#include <limits>
#include <optional>
#include <stdexcept>
#include <utility>

#include "journal/frame.hpp"
#include "journal/line_reader.hpp"

namespace plexor::journal {
namespace {

namespace dom = simdjson::dom;

static_assert(LineReader::padding >= simdjson::SIMDJSON_PADDING);

/// A line that is no record of this format. Never leaves this file.
struct Malformed : std::runtime_error {
  using std::runtime_error::runtime_error;
};

template <typename Number>
constexpr Number max_of = std::numeric_limits<Number>::max();

[[noreturn]] void wrong(std::string_view key, std::string_view expected) {
  throw Malformed(fmt::format("\"{}\" is not {}", key, expected));
}

template <std::integral Number>
Number whole(std::string_view key, dom::element value, Number low, Number high) {
  using Wide = std::conditional_t<std::signed_integral<Number>, std::int64_t, std::uint64_t>;
  Wide number{};
  if (value.get(number) != simdjson::SUCCESS || number < Wide{low} || number > Wide{high}) {
    wrong(key, fmt::format("a whole number from {} to {}", low, high));
  }
  return static_cast<Number>(number);
}

dom::array array(std::string_view key, dom::element value) {
  dom::array items;
  if (value.get(items) != simdjson::SUCCESS) wrong(key, "a list");
  return items;
}

dom::object object(std::string_view key, dom::element value, std::string_view expected) {
  dom::object found;
  if (value.get(found) != simdjson::SUCCESS) wrong(key, expected);
  return found;
}

/// The members of one object. Asked for in the order in which the writer put
/// them, each is found at once; any other order works too.
class MemberReader {
 public:
  explicit MemberReader(dom::object object) : object_(object), at_(object.begin()) {}

  [[nodiscard]] std::optional<dom::element> find(std::string_view key) {
    if (at_ != object_.end() && at_.key() == key) {
      const dom::element value = at_.value();
      ++at_;
      return value;
    }
    for (auto member = object_.begin(); member != object_.end(); ++member) {
      if (member.key() != key) continue;
      const dom::element value = member.value();
      at_ = ++member;
      return value;
    }
    return std::nullopt;
  }
  [[nodiscard]] dom::element need(std::string_view key) {
    const std::optional<dom::element> value = find(key);
    if (!value) throw Malformed(fmt::format("\"{}\" is missing", key));
    return *value;
  }

  template <std::integral Number>
  void read(std::string_view key, Number& to) {
    to = whole<Number>(key, need(key), std::numeric_limits<Number>::min(), max_of<Number>);
  }
  void read(std::string_view key, bool& to) {
    if (need(key).get(to) != simdjson::SUCCESS) wrong(key, "true or false");
  }
  void read(std::string_view key, std::string& to) { to = text(key); }
  void read(std::string_view key, base::Duration& to) {
    to = base::Duration{whole(key, need(key), -max_run_ns, max_run_ns)};
  }
  void read(std::string_view key, base::Instant& to) {
    base::Duration since_start{};
    read(key, since_start);
    to = base::Instant{since_start};
  }
  template <typename Value>
  void read_if_there(std::string_view key, Value& to) {
    to = Value{};  // records are read into the ones before
    if (find(key)) read(key, to);
  }
  void read_system_time(std::string_view key, std::int64_t& to) {
    to = whole(key, need(key), -max_system_ns, max_system_ns);
  }
  [[nodiscard]] std::string_view text(std::string_view key) {
    std::string_view value;
    if (need(key).get(value) != simdjson::SUCCESS) wrong(key, "a string");
    return value;
  }
  /// Calls put(i, number) for each number of a list.
  template <typename Put>
  void each(std::string_view key, std::int64_t low, std::int64_t high, Put put) {
    std::size_t i = 0;
    for (const dom::element item : array(key, need(key))) put(i++, whole(key, item, low, high));
  }

 private:
  dom::object object_;
  dom::object::iterator at_;
};

void read_id(MemberReader& members, base::TrialId& id) {
  std::array<std::uint32_t*, 3> parts{&id.block, &id.number, &id.attempt};
  std::size_t count = 0;
  members.each("id", 0, max_of<std::uint32_t>, [&](std::size_t i, std::int64_t part) {
    if (i < parts.size()) *parts[i] = static_cast<std::uint32_t>(part);
    count = i + 1;
  });
  if (count != parts.size()) wrong("id", "block, number and attempt");
}

/// Two lists of one length, which together make a vector of items.
template <typename Item, typename First, typename Second>
void read_pairs(MemberReader& members, std::vector<Item>& to, const First& first,
                const Second& second) {
  to.clear();
  members.each(first.key, first.low, first.high,
               [&](std::size_t, std::int64_t value) { first.put(to.emplace_back(), value); });
  std::size_t count = 0;
  members.each(second.key, second.low, second.high, [&](std::size_t i, std::int64_t value) {
    if (i < to.size()) second.put(to[i], value);
    count = i + 1;
  });
  if (count != to.size()) wrong(second.key, fmt::format("as long as \"{}\"", first.key));
}

template <typename Put>
struct Column {
  std::string_view key;
  std::int64_t low = 0;
  std::int64_t high = 0;
  Put put;
};
template <typename Put>
Column<Put> times(std::string_view key, Put put) {
  return {key, -max_run_ns, max_run_ns, put};
}

void read_pulses(MemberReader& members, std::vector<base::Pulse>& pulses) {
  read_pairs(members, pulses,
             times("on_ns", [](base::Pulse& pulse,
                               std::int64_t ns) { pulse.on = base::Instant{base::Duration{ns}}; }),
             times("pulse_ns", [](base::Pulse& pulse, std::int64_t ns) {
               pulse.on_time = base::Duration{ns};
             }));
}

void read_taps(MemberReader& members, std::vector<base::Tap>& taps) {
  const auto put_strike = [](base::Tap& tap, std::int64_t um_s) { tap.strike.um_s = um_s; };
  read_pairs(
      members, taps,
      times("tap_ns", [](base::Tap& tap, std::int64_t ns) { tap.contact = base::Duration{ns}; }),
      Column<decltype(put_strike)>{"strike_um_s", 0, max_strike_um_s, put_strike});
}

/// A trial has either "rhythm", which says which one, or "kind".
void read_kind(MemberReader& members, base::Trial& trial) {
  trial.rhythm = 0;
  if (const auto rhythm = members.find("rhythm")) {
    trial.kind = base::TrialKind::rhythm;
    trial.rhythm = whole<std::uint32_t>("rhythm", *rhythm, 0, max_of<std::uint32_t>);
    return;
  }
  const std::string_view text = members.text("kind");
  for (const auto kind : {base::TrialKind::quiet, base::TrialKind::reference}) {
    trial.kind = kind;
    if (base::to_text(kind) == text) return;
  }
  throw Malformed(fmt::format("unknown kind of trial \"{}\"", text));
}

Ended::Reason reason_from(std::string_view text) {
  using Reason = Ended::Reason;
  for (const auto reason :
       {Reason::complete, Reason::interrupted, Reason::fault, Reason::too_many_voids}) {
    if (to_text(reason) == text) return reason;
  }
  throw Malformed(fmt::format("unknown reason \"{}\"", text));
}

void read_listener(dom::element from, ListenerFacts& listener) {
  MemberReader members(object("listeners", from, "a list of objects"));
  members.read("name", listener.name);
  members.read("place", listener.place);
  members.read("arrival_width_ns", listener.arrival_width);
}

/// Format 3 knew one listener, and no more of it than this.
void read_only_listener(MemberReader& members, DeviceFacts& device) {
  ListenerFacts only;
  members.read_if_there("arrival_width_ns", only.arrival_width);
  if (only.arrival_width != base::Duration{}) device.listeners.push_back(std::move(only));
}

void read_device(dom::element from, DeviceFacts& device) {
  MemberReader members(object("devices", from, "a list of objects"));
  members.read("name", device.name);
  members.read("version", device.version);
  members.read("line_time_ns", device.line_time);
  members.read("pattern_end_gap_ns", device.pattern_end_gap);
  members.read_if_there("position", device.position);
  device.at.reset();
  if (const auto x = members.find("x_um")) {
    device.at = {whole("x_um", *x, -max_surface_um, max_surface_um),
                 whole("y_um", members.need("y_um"), -max_surface_um, max_surface_um)};
  }
  device.listeners.clear();
  if (const auto listeners = members.find("listeners")) {
    for (const dom::element listener : array("listeners", *listeners)) {
      if (device.listeners.size() == max_listeners) wrong("listeners", "no more than 8 listeners");
      read_listener(listener, device.listeners.emplace_back());
    }
  } else {
    read_only_listener(members, device);
  }
}

void read_channel(dom::element from, ChannelFacts& channel) {
  MemberReader members(object("channels", from, "a list of objects"));
  members.read("name", channel.name);
  channel.device.reset();
  if (const auto device = members.find("device")) {
    channel.device = whole("device", *device, std::uint32_t{0}, max_of<std::uint32_t>);
  }
  channel.rate_hz = whole("rate_hz", members.need("rate_hz"), std::int64_t{1}, max_rate_hz);
  members.read("lowest", channel.lowest);
  members.read("highest", channel.highest);
  members.read("unit", channel.unit);
}

void read_facts(dom::element from, RigFacts& rig) {
  MemberReader members(object("facts", from, "an object"));
  members.read("name", rig.name);
  members.read("simulated", rig.simulated);
  members.read("calibrated", rig.calibrated);
  members.read("contact_sensed", rig.contact_sensed);
  members.read("transit_sd_ns", rig.transit_sd);
  members.read("calibration_date", rig.calibration_date);
  members.read_if_there("moving_mass_ug", rig.moving_mass_ug);
  members.read("surface", rig.surface);
  members.read("spot", rig.spot);
  members.read("mounting", rig.mounting);
  rig.devices.clear();
  for (const dom::element device : array("devices", members.need("devices"))) {
    if (rig.devices.size() == max_devices) wrong("devices", "no more than 16 devices");
    read_device(device, rig.devices.emplace_back());
  }
  rig.channels.clear();
  if (const auto channels = members.find("channels")) {
    for (const dom::element channel : array("channels", *channels)) {
      if (rig.channels.size() == max_channels) wrong("channels", "no more than 16 channels");
      read_channel(channel, rig.channels.emplace_back());
    }
  }
}

void read_record(MemberReader& members, Header& header) {
  members.read("format", header.format);
  // What the rest of another format looks like is unknown; the reader speaks about it.
  if (header.format < 1 || header.format > format_version) return;
  members.read("plexor", header.plexor_version);
  members.read("seed", header.seed);
  members.read("lifted", header.lifted);
  members.read("scenario_file", header.scenario_file);
  members.read("scenario", header.scenario_text);
  members.read("rig_file", header.rig_file);
  members.read("rig", header.rig_text);
  members.read_if_there("calibration_file", header.calibration_file);
  members.read_if_there("calibration", header.calibration_text);
  read_facts(members.need("facts"), header.rig);
}

void read_record(MemberReader& members, Host& host) {
  members.read("started_utc", host.started_utc);
  members.read("host_name", host.host_name);
  members.read("system", host.system);
  members.read_if_there("scheduling", host.scheduling);
  members.read_if_there("run_id", host.run_id);
}

void read_wall(MemberReader& members, std::int64_t& wall_ns, std::int32_t& utc_offset_s) {
  members.read_system_time("wall_ns", wall_ns);
  utc_offset_s = 0;
  if (const auto offset = members.find("utc_offset_s")) {
    utc_offset_s = whole("utc_offset_s", *offset, -max_utc_offset_s, max_utc_offset_s);
  }
}

void read_record(MemberReader& members, Segment& segment) {
  members.read("boot_id", segment.boot_id);
  members.read_system_time("monotonic_ns", segment.monotonic_ns);
  read_wall(members, segment.wall_ns, segment.utc_offset_s);
}

void read_record(MemberReader& members, TrialPlanned& planned) {
  base::Trial& trial = planned.trial;
  read_id(members, trial.id);
  read_kind(members, trial);
  read_taps(members, trial.taps);
  members.read("window_ns", trial.window);
  members.read("gap_ns", trial.gap);
  members.read("start_ns", planned.start);
  read_pulses(members, planned.pulses);
  members.read("coil_mc", planned.coil_mc);
}

void read_record(MemberReader& members, TrialDone& done) {
  read_id(members, done.id);
  members.read("end_ns", done.end);
  read_pulses(members, done.actual);
  done.contacts.clear();
  members.each("contact_ns", -max_run_ns, max_run_ns, [&](std::size_t, std::int64_t ns) {
    done.contacts.emplace_back(base::Duration{ns});
  });
  done.void_reason.reset();
  const auto reason = members.find("void");
  if (!reason) return;
  std::string_view text;
  if (reason->get(text) != simdjson::SUCCESS) wrong("void", "a string");
  done.void_reason = base::void_reason_from(text);
  if (!done.void_reason) throw Malformed(fmt::format("unknown void reason \"{}\"", text));
}

void read_record(MemberReader& members, Heard& heard) {
  base::Event& event = heard.event;
  members.read("device", event.device);
  members.read_if_there("listener", event.listener);
  members.read("name", event.name);
  members.read("at_ns", event.arrival);
  event.device_time.reset();
  if (const auto time = members.find("device_time_ns"); time && !time->is_null()) {
    event.device_time = base::Duration{whole("device_time_ns", *time, -max_run_ns, max_run_ns)};
  }
  event.strength.reset();
  if (const auto strength = members.find("strength"); strength && !strength->is_null()) {
    double value = 0.0;
    if (strength->get(value) != simdjson::SUCCESS) wrong("strength", "a number");
    event.strength = value;
  }
}

void read_record(MemberReader& members, ListenerState& listener) {
  members.read("device", listener.device);
  members.read_if_there("listener", listener.listener);
  members.read("up", listener.up);
  members.read("at_ns", listener.at);
}

void read_record(MemberReader& members, ReferenceShift& shift) {
  members.read("at_ns", shift.at);
  members.read("shift_ns", shift.shift);
  members.read("voided", shift.voided);
}

void read_record(MemberReader& members, LeaveEnded& left) {
  members.read("reason", left.reason);
  members.read("at_ns", left.at);
}

void read_record(MemberReader& members, Moved& moved) {
  members.read("spot", moved.spot);
  members.read("at_ns", moved.at);
}

void read_record(MemberReader& members, RawLine& line) {
  members.read("device", line.device);
  members.read_if_there("listener", line.listener);
  members.read("text", line.text);
  members.read("at_ns", line.at);
}

void read_record(MemberReader& members, Ended& ended) {
  ended.reason = reason_from(members.text("reason"));
  members.read("detail", ended.detail);
  members.read("at_ns", ended.at);
}

void read_record(MemberReader& members, ClockSet& clock) {
  members.read("at_ns", clock.at);
  read_wall(members, clock.wall_ns, clock.utc_offset_s);
}

void read_record(MemberReader& members, LeaveGiven& leave) { members.read("at_ns", leave.at); }

void read_record(MemberReader& members, Disturbance& disturbance) {
  members.read("name", disturbance.name);
  members.read("by", disturbance.by);
  members.read("from_ns", disturbance.from);
  members.read("to_ns", disturbance.to);
  members.read_if_there("at_ns", disturbance.at);  // the first journals of format 6 have none
}

void read_record(MemberReader& members, PowerCycle& cycle) {
  members.read("device", cycle.device);
  members.read("reason", cycle.reason);
  members.read("at_ns", cycle.at);
}

/// In the order of the alternatives of Record.
constexpr std::array<std::string_view, std::variant_size_v<Record>> type_names{
    "header",          "host",        "segment", "trial", "done",  "event", "listener",
    "reference-shift", "leave-ended", "moved",   "line",  "ended", "clock", "leave-given",
    "disturbance",     "power-cycle"};

std::size_t index_of_type(std::string_view type) {
  for (std::size_t i = 0; i < type_names.size(); ++i) {
    if (type_names[i] == type) return i;
  }
  throw Malformed(fmt::format("unknown record type \"{}\"", type));
}

template <std::size_t... I>
std::array<Entry, sizeof...(I)> entry_of_each_type(std::index_sequence<I...> /*types*/) {
  return {Entry{0, Record{std::in_place_index<I>}}...};
}

}  // namespace

Decoder::Decoder()
    : entries_(entry_of_each_type(std::make_index_sequence<std::variant_size_v<Record>>{})) {}

const Entry* Decoder::decode(std::string_view line) {
  try {
    dom::element document;
    const auto error = parser_.parse(line.data(), line.size(), false).get(document);
    if (error != simdjson::SUCCESS) {
      throw Malformed(fmt::format("no JSON: {}", simdjson::error_message(error)));
    }
    dom::object object;
    if (document.get(object) != simdjson::SUCCESS) throw Malformed("no JSON object");
    MemberReader members(object);
    (void)members.find("crc");  // checked before, on the bytes
    const auto sequence = whole("seq", members.need("seq"), std::uint64_t{0}, max_sequence);
    Entry& entry = entries_[index_of_type(members.text("type"))];
    entry.sequence = sequence;
    std::visit([&](auto& record) { read_record(members, record); }, entry.record);
    return &entry;
  } catch (const Malformed& malformed) {
    problem_ = malformed.what();
    return nullptr;
  }
}

}  // namespace plexor::journal
