#include "safety/coil_memory.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <optional>

#include "base/error.hpp"
#include "base/toml_reader.hpp"

namespace plexor::safety {

namespace {

using base::Duration;
using base::TableReader;

constexpr int format = 1;
constexpr double longest_s = 1e9;  // thirty years
constexpr std::int64_t most_taps = 1'000'000'000'000'000;

constexpr std::string_view mark_key = "mark = ";

/// The last line of a text: a mark (FNV-1a, 64 bits) that no other text of its length with one byte
/// changed has. A figure that is torn or rots on a card must not pass for a cooler coil.
std::string mark_line(std::string_view text) {
  std::uint64_t mark = 0xcbf29ce484222325;
  for (const char byte : text) mark = (mark ^ static_cast<unsigned char>(byte)) * 0x100000001b3;
  return fmt::format("{}\"{:016x}\"\n", mark_key, mark);
}

bool is_whole(std::string_view text) {
  const std::size_t end = text.rfind(mark_key);
  return end != std::string_view::npos && text.substr(end) == mark_line(text.substr(0, end));
}

CoilMemory read(std::string_view text) {
  TableReader in = TableReader::parse(text, "coil memory");
  in.refuse_newer_format(format);
  CoilMemory memory;
  memory.past.state.winding_c = in.number("winding_c", {-100.0, 1000.0});
  memory.past.state.body_c = in.number("body_c", {-100.0, 1000.0});
  memory.past.on_in_span = in.duration("on_in_span_s", {0.0, longest_s});
  memory.past.since_last_off = in.duration("since_last_off_s", {0.0, longest_s});
  memory.at.boot_id = in.text("boot_id");
  memory.at.since_boot = in.duration("since_boot_s", {0.0, longest_s});
  memory.ended_in_order = in.flag_or("ended_in_order", false);
  memory.taps = static_cast<std::uint64_t>(in.whole("taps", 0, most_taps));
  (void)in.text("mark");  // is_whole() has seen to it
  in.finish();
  return memory;
}

std::optional<CoilMemory> read_if_whole(std::string_view text) {
  if (!is_whole(text)) return std::nullopt;
  try {
    return read(text);
  } catch (const base::InputError&) {
    return std::nullopt;
  }
}

CoilPast hot(const Limits& limits) {
  const double limit_c = limits.max_coil_c - limits.coil_margin_k;
  return {{limit_c, limit_c}, allowed_on_in_span(limits), Duration::zero()};
}

/// What a run left behind that did not end in order: hot, or worse where it knew of worse.
CoilPast at_least_hot(const CoilPast& past, const Limits& limits) {
  CoilPast worst = hot(limits);
  worst.state.winding_c = std::max(worst.state.winding_c, past.state.winding_c);
  worst.state.body_c = std::max(worst.state.body_c, past.state.body_c);
  worst.on_in_span = std::max(worst.on_in_span, past.on_in_span);
  return worst;
}

/// At least so long ago.
Duration age(const CoilMemory& memory, const BootMoment& now) {
  if (memory.at.boot_id != now.boot_id) return now.since_boot;
  return std::max(now.since_boot - memory.at.since_boot, Duration::zero());
}

CoilPast rested(CoilPast past, Duration rest, const CoilModel& coil) {
  past.state = after(coil, past.state, rest, false);
  past.since_last_off += rest;
  return past;
}

}  // namespace

std::string to_text(const CoilMemory& memory) {
  const std::string text = fmt::format(
      "# What a tapper's coil has behind it; written by plexor. Without it the coil is taken as "
      "hot.\n"
      "format = {}\nwinding_c = {:.3f}\nbody_c = {:.3f}\non_in_span_s = {:.6f}\n"
      "since_last_off_s = {:.6f}\nboot_id = \"{}\"\nsince_boot_s = {:.6f}\nended_in_order = {}\n"
      "taps = {}\n",
      format, memory.past.state.winding_c, memory.past.state.body_c,
      base::to_s(memory.past.on_in_span), base::to_s(memory.past.since_last_off), memory.at.boot_id,
      base::to_s(memory.at.since_boot), memory.ended_in_order, memory.taps);
  return text + mark_line(text);
}

CoilNow recall(std::string_view text, const BootMoment& now, const Limits& limits,
               const CoilModel& coil) {
  if (text.empty()) {
    return {hot(limits), 0, "nothing is known of it on this computer"};
  }
  const auto memory = read_if_whole(text);
  if (!memory) return {hot(limits), 0, "what was kept of it can't be read"};
  const Duration rest = age(*memory, now);
  if (!memory->ended_in_order) {
    return {rested(at_least_hot(memory->past, limits), rest, coil), memory->taps,
            "the run before did not end in order"};
  }
  return {rested(memory->past, rest, coil), memory->taps, ""};
}

}  // namespace plexor::safety
