#pragma once

#include <string>

#include "base/error.hpp"
#include "scenario/planner.hpp"
#include "scenario/scenario.hpp"

namespace plexor::scenario {

/// Lines 1 to 4 of every text below.
inline const std::string head =
    "[scenario]\n"
    "name = \"release check\"\n"
    "purpose = \"regression\"\n"
    "seed = 7\n";

/// Lines 5 and 6, 7 and 8.
inline const std::string rhythms =
    "[rhythm.call]\n"
    "contacts_ms = [0, 190]\n"
    "[rhythm.help]\n"
    "contacts_ms = [0, 160, 320, 480, 640]\n";

/// Six lines, from 9 on.
inline const std::string call_block =
    "[[block]]\n"
    "rhythm = \"call\"\n"
    "trials = 4\n"
    "strike_m_s = 0.9\n"
    "window_ms = 1200\n"
    "gap_ms = [1500, 2500]\n";

/// A block of another rhythm and number of trials.
inline std::string block_of(const std::string& rhythm, int trials,
                            const std::string& strike = "0.9") {
  return "[[block]]\nrhythm = \"" + rhythm + "\"\ntrials = " + std::to_string(trials) +
         "\nstrike_m_s = " + strike + "\nwindow_ms = 1200\ngap_ms = [1500, 2500]\n";
}

inline Scenario parsed(const std::string& text) { return parse_scenario(text, "knock.toml"); }

/// What the parser says about a text; "no error" where it takes it.
inline std::string complaint(const std::string& text) {
  try {
    (void)parsed(text);
  } catch (const base::InputError& error) {
    return error.what();
  }
  return "no error";
}

/// The text with its first `from` turned into `to`.
inline std::string replaced(std::string text, const std::string& from, const std::string& to) {
  return text.replace(text.find(from), from.size(), to);
}

}  // namespace plexor::scenario
