#include "rig/read_parts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <functional>
#include <optional>
#include <string_view>

#include "rig/report_reader.hpp"

namespace plexor::rig {

using base::TableReader;

namespace {

std::size_t characters_in(const std::string& utf8) {
  return static_cast<std::size_t>(std::count_if(utf8.begin(), utf8.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U;
  }));
}

bool has_control_character(const std::string& utf8) {
  for (std::size_t i = 0; i < utf8.size(); ++i) {
    const auto byte = static_cast<unsigned char>(utf8[i]);
    if (byte < 0x20U || byte == 0x7FU) return true;
    const bool two_byte_control =
        byte == 0xC2U && i + 1 < utf8.size() && static_cast<unsigned char>(utf8[i + 1]) < 0xA0U;
    if (two_byte_control) return true;
  }
  return false;
}

std::string pattern_of(
    TableReader& reader, const std::string& key,
    const std::function<std::optional<std::string>(const std::string&)>& complaint,
    const std::string& example) {
  std::string pattern = reader.text(key);
  if (const auto found = complaint(pattern)) {
    reader.fail(key, "a pattern that can't be used: " + *found,
                "a regular expression of RE2, as '" + example + "'",
                "write it in single quotes, so that backslashes stay");
  }
  return pattern;
}

/// A pattern with this group and no other.
auto groups(const std::string& needed) {
  return [needed](const std::string& text) { return LinePattern::complaint(text, needed, ""); };
}

std::optional<std::uint16_t> hex_of(std::string_view digits) {
  std::uint16_t value = 0;
  const char* end = digits.data() + digits.size();
  const auto [stop, error] = std::from_chars(digits.data(), end, value, 16);
  if (digits.size() != 4 || error != std::errc{} || stop != end) return std::nullopt;
  return value;
}

/// "1a86:7523", or "1a86:7523:SERIAL".
UsbIdentity read_usb(TableReader& reader, const std::string& key) {
  constexpr std::size_t ids = 9;
  const std::string text = line_of_text(reader, key, longest_description);
  const auto vendor = hex_of(std::string_view(text).substr(0, 4));
  const auto product =
      hex_of(std::string_view(text).substr(std::min<std::size_t>(text.size(), 5), 4));
  const bool has_serial = text.size() > ids + 1 && text[ids] == ':';
  if (!vendor || !product || text[4] != ':' || (text.size() != ids && !has_serial)) {
    reader.fail(key, fmt::format("the text \"{:.60}\"", text),
                "vendor:product or vendor:product:serial, as \"1a86:7523\"",
                "lsusb shows them as ID");
  }
  return {*vendor, *product, has_serial ? text.substr(ids + 1) : ""};
}

template <typename Choice>
Choice choice_or(TableReader& reader, const std::string& key,
                 const std::vector<std::string>& words) {
  if (!reader.has(key)) return Choice{};
  const std::string word = reader.choice(key, words);
  return static_cast<Choice>(std::find(words.begin(), words.end(), word) - words.begin());
}

std::int32_t whole_or(TableReader& reader, const std::string& key, std::int64_t low,
                      std::int64_t high, std::int32_t fallback) {
  return reader.has(key) ? static_cast<std::int32_t>(reader.whole(key, low, high)) : fallback;
}

ReportFields read_fields(TableReader reader) {
  const auto pointer = [&reader](const std::string& key) {
    if (!reader.has(key)) return std::string();
    std::string text = line_of_text(reader, key, longest_description);
    if (const auto found = ReportReader::complaint(text)) {
      reader.fail(key, fmt::format("\"{:.60}\", which has {}", text, *found),
                  "a JSON pointer (RFC 6901), as \"/knock/event\"");
    }
    return text;
  };
  ReportFields fields{pointer("event"), pointer("device"), pointer("device_time_ms"),
                      pointer("strength"), pointer("id")};
  if (fields.event.empty()) {
    reader.fail("event", "no \"event\"", "where the event stands, as event = \"/event\"");
  }
  reader.finish();
  return fields;
}

SerialSettings read_serial(TableReader& reader) {
  SerialSettings serial = read_serial_port(reader);
  serial.format = read_format(reader);
  return serial;
}

std::vector<std::string> read_events(TableReader& reader, LineReport report) {
  if (report != LineReport::pulses) return {line_of_text(reader, "event", longest_name)};
  constexpr std::size_t most_events = 20;
  std::vector<std::string> events = reader.texts("events");
  const bool readable = std::none_of(events.begin(), events.end(), [](const std::string& name) {
    return name.empty() || has_control_character(name) || characters_in(name) > longest_name;
  });
  if (!readable || events.size() > most_events) {
    reader.fail(
        "events", fmt::format("{} texts", events.size()),
        fmt::format("up to {} names of 1 to {} printable characters: of one pulse, of two, ...",
                    most_events, longest_name));
  }
  return events;
}

/// Runs hear everything later by what a listener holds back, so that is kept short.
LineSettings read_line(TableReader& reader) {
  LineSettings line;
  if (reader.has("chip")) line.chip = line_of_text(reader, "chip", longest_description);
  constexpr std::int64_t most_lines = 4095;
  line.wire = {static_cast<std::uint32_t>(reader.whole("line", 0, most_lines)),
               reader.flag_or("active_low", false)};
  line.report = choice_or<LineReport>(reader, "report", {"edge", "pulses", "level"});
  line.debounce = reader.duration_or("debounce_ms", {0.0, 100.0}, {});
  if (line.report == LineReport::pulses)
    line.pulse_gap = reader.duration("pulse_gap_ms", {1.0, 500.0});
  line.events = read_events(reader, line.report);
  return line;
}

Way read_way(TableReader& reader, const std::string& kind) {
  if (kind == "serial") return read_serial(reader);
  if (kind == "line") return read_line(reader);
  if (kind == "mqtt") return read_mqtt(reader);
  if (kind == "web-hook") return read_web_hook(reader);
  return read_socket(reader, kind == "udp" ? Transport::udp : Transport::tcp);
}

ListenerSettings read_listener(TableReader& reader) {
  const std::string kind =
      reader.choice("kind", {"serial", "line", "mqtt", "tcp", "udp", "web-hook"});
  ListenerSettings listener{kind, read_way(reader, kind)};
  if (reader.has("name")) listener.name = line_of_text(reader, "name", longest_name);
  reader.finish();
  return listener;
}

std::vector<ListenerSettings> read_listeners(TableReader& device) {
  constexpr std::size_t most_ways = 8;
  std::vector<TableReader> tables = device.tables("listener");
  if (tables.empty() || tables.size() > most_ways) {
    device.fail("listener", fmt::format("{} listeners", tables.size()),
                fmt::format("1 to {} tables [[device.listener]]", most_ways),
                "each says by which port, line or network the device speaks");
  }
  std::vector<ListenerSettings> listeners;
  for (TableReader& table : tables) {
    ListenerSettings listener = read_listener(table);
    const bool is_taken = std::any_of(listeners.begin(), listeners.end(), [&](const auto& other) {
      return other.name == listener.name;
    });
    if (is_taken) {
      table.fail("name", fmt::format("a second listener \"{}\"", listener.name),
                 "a name of its own for each way of a device");
    }
    listeners.push_back(std::move(listener));
  }
  return listeners;
}

IdentitySettings read_identity(TableReader reader) {
  IdentitySettings identity;
  identity.query = bytes_of_text(reader, "query", longest_description);
  identity.pattern = pattern_of(reader, "pattern", groups("version"), "version (?P<version>\\S+)");
  constexpr base::Duration patient = std::chrono::seconds{5};
  identity.timeout = reader.duration_or("timeout_ms", {50.0, 60'000.0}, patient);
  if (reader.has("banner")) identity.banner = pattern_of(reader, "banner", groups(""), "^boot");
  if (reader.has("alive_every_s")) {
    identity.alive_every = reader.duration("alive_every_s", {0.1, 3600.0});
  }
  reader.finish();
  return identity;
}

PrepareSettings read_prepare(TableReader reader) {
  PrepareSettings prepare;
  prepare.command = reader.texts("command");
  if (prepare.command.front().empty()) {
    reader.fail("command", "a program without a name", "[\"program\", \"argument\", ...]");
  }
  constexpr base::Duration patient = std::chrono::minutes{2};
  prepare.timeout = reader.duration_or("timeout_s", {0.1, 3600.0}, patient);
  reader.finish();
  return prepare;
}

}  // namespace

std::string line_of_text(TableReader& reader, const std::string& key, std::size_t longest) {
  std::string text = reader.text(key);
  const std::string expected = fmt::format("one line of 1 to {} printable characters", longest);
  if (text.find_first_not_of(' ') == std::string::npos) reader.fail(key, "a blank text", expected);
  if (has_control_character(text)) reader.fail(key, "a control character", expected);
  if (const std::size_t length = characters_in(text); length > longest) {
    reader.fail(key, fmt::format("{} characters", length), expected);
  }
  return text;
}

safety::Wire read_wire(TableReader& reader, const std::string& key) {
  constexpr std::int64_t most_lines = 4095;
  const auto offset_in = [](TableReader& table, const std::string& at) {
    return static_cast<std::uint32_t>(table.whole(at, 0, most_lines));
  };
  if (!reader.is_table(key)) return {offset_in(reader, key), false};
  TableReader table = reader.table(key);
  const safety::Wire wire{offset_in(table, "line"), table.flag_or("active_low", false)};
  table.finish();
  return wire;
}

std::string bytes_of_text(TableReader& reader, const std::string& key, std::size_t longest) {
  std::string text = reader.text(key);
  if (text.empty() || text.size() > longest) {
    reader.fail(key, fmt::format("{} bytes", text.size()), fmt::format("1 to {}", longest));
  }
  return text;
}

SerialSettings read_serial_port(TableReader& reader) {
  SerialSettings serial;
  if (reader.has("usb")) {
    serial.usb = read_usb(reader, "usb");
    if (reader.has("port")) {
      reader.fail("port", "a second way to find the port", "either \"usb\" or \"port\"");
    }
  } else {
    serial.port = line_of_text(reader, "port", longest_description);
  }
  serial.baud = whole_or(reader, "baud", 300, 4'000'000, serial.baud);
  serial.data_bits = whole_or(reader, "data_bits", 5, 8, serial.data_bits);
  serial.parity = choice_or<Parity>(reader, "parity", {"none", "even", "odd"});
  serial.stop_bits = whole_or(reader, "stop_bits", 1, 2, serial.stop_bits);
  serial.flow = choice_or<FlowControl>(reader, "flow", {"none", "rts-cts", "xon-xoff"});
  serial.reset = choice_or<ResetLine>(reader, "reset", {"none", "dtr", "rts"});
  return serial;
}

ReportFormat read_format(TableReader& reader) {
  ReportFormat format;
  if (reader.has("pattern")) {
    const auto complaint = [](const std::string& text) { return ReportPattern::complaint(text); };
    format.pattern = pattern_of(reader, "pattern", complaint, "knock (?P<event>\\w+)");
  }
  if (auto fields = reader.table_if("fields")) {
    if (!format.pattern.empty()) {
      reader.fail("fields", "a second way to read a message", "either \"pattern\" or \"fields\"");
    }
    format.fields = read_fields(std::move(*fields));
  }
  format.keep_lines = reader.flag_or("keep_lines", false);
  return format;
}

void read_listening(TableReader& device, Device& into) {
  into.listeners = read_listeners(device);
  if (device.has("identity")) {
    if (!asked_way_of(into)) {
      device.fail("identity", "a question to a device that has no serial port",
                  "[device.identity] beside a listener of kind \"serial\"", "take it out");
    }
    into.identity = read_identity(device.table("identity"));
  }
  if (auto prepare = device.table_if("prepare")) into.prepare = read_prepare(std::move(*prepare));
}

}  // namespace plexor::rig
