#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "base/error.hpp"
#include "scenario/planner.hpp"

// Any text is either refused with an InputError or gives a scenario whose plan
// keeps what the room promises; anything else ends in abort().

namespace {

using namespace plexor;

void require(bool promise) {
  if (!promise) std::abort();
}

void check_trial(const scenario::Envelope& envelope, const base::Trial& trial) {
  require(trial.taps.size() == envelope.taps);
  require(trial.window > base::Duration::zero() && trial.gap > base::Duration::zero());
  for (std::size_t k = 0; k < trial.taps.size(); ++k) {
    const base::Tap& tap = trial.taps[k];
    require(tap.strike.um_s > 0 && envelope.slowest <= tap.strike &&
            tap.strike <= envelope.fastest);
    require(tap.contact >= base::Duration::zero() && tap.contact <= envelope.longest_length);
    if (k > 0) require(tap.contact - trial.taps[k - 1].contact >= envelope.shortest_interval);
  }
}

/// A few trials at either end of each block: a plan may be ten million long.
void check_blocks(const scenario::Scenario& parsed) {
  for (std::uint32_t b = 0; b < parsed.blocks.size(); ++b) {
    const scenario::Block& block = parsed.blocks[b];
    const scenario::Envelope envelope = envelope_of(parsed, block);
    require(envelope.shortest_interval > base::Duration::zero());
    require(block.trials > 0 && block.gap_min <= block.gap_max);
    for (std::uint32_t i = 0; i < block.trials && i < 3; ++i) {
      check_trial(envelope, draw_trial(parsed, {b, i, 0}));
      check_trial(envelope, draw_trial(parsed, {b, block.trials - 1 - i, 0}));
    }
  }
}

void check_plan(const scenario::Scenario& parsed) {
  require(expected_duration(parsed) > base::Duration::zero());
  require(expected_duration(parsed) <= scenario::max_plan);
  scenario::History history(parsed);
  for (int i = 0; i < 100; ++i) {
    const auto trial = next(parsed, history);
    require(trial.has_value() || history.remaining() == 0);
    if (!trial) return;
    history.took(trial->id);
    if (i % 5 == 0) history.voided(trial->id);
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  try {
    const scenario::Scenario parsed = scenario::parse_scenario(
        std::string_view(reinterpret_cast<const char*>(data), size), "fuzz.toml");
    check_blocks(parsed);
    check_plan(parsed);
  } catch (const base::InputError&) {
    // A clear word to the user is all that is asked.
  }
  return 0;
}
