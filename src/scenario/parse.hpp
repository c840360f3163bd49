#pragma once

#include <string>
#include <vector>

#include "base/toml_reader.hpp"
#include "scenario/scenario.hpp"

/// The parts of parse_scenario, one for each table of the file. All throw base::InputError.
namespace plexor::scenario {

/// [rhythm.NAME], all of them, in order of appearance.
[[nodiscard]] std::vector<Rhythm> read_rhythms(base::TableReader& root);

/// What is expected instead of this name of a rhythm; empty for a good one.
[[nodiscard]] std::string expected_rhythm_name(const std::string& name);

/// [jitter]: refuses what could put the contacts of any of these rhythms out of order.
[[nodiscard]] Jitter read_jitter(base::TableReader jitter, const std::vector<Rhythm>& rhythms);

/// One [[block]].
[[nodiscard]] Block read_block(base::TableReader& block, const std::vector<Rhythm>& rhythms,
                               const std::vector<Spot>& spots);

/// [reference]
[[nodiscard]] ReferenceTaps read_reference(base::TableReader reference);

/// [accept]
[[nodiscard]] Accept read_accept(base::TableReader accept);

/// [compare]
[[nodiscard]] Margins read_margins(base::TableReader compare);

/// Refuses each key that is none of these, before anything is read: a misspelt
/// key is then named as such and not as a missing one.
void expect_keys(base::TableReader& table, const std::vector<std::string>& known);

/// Refuses known keys that have no meaning here; `expected` says what would have.
void refuse_keys(base::TableReader& table, const std::vector<std::string>& senseless,
                 const std::string& expected);

/// A name for people: 1 to 60 printable characters without quotes. Throws at `key`.
[[nodiscard]] std::string read_name(base::TableReader& table, const std::string& key);

/// "150 ms", for messages.
[[nodiscard]] std::string in_ms(base::Duration duration);

/// Ranges that several tables share.
inline constexpr base::TableReader::Range strike_range_m_s{0.01, 10.0};
inline constexpr base::TableReader::Range rate_range{0.0, 1.0};

}  // namespace plexor::scenario
