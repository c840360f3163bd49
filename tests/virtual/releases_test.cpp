#include <gtest/gtest.h>

#include <map>

#include "base/random.hpp"
#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

using base::Purpose;

double z_of(std::uint32_t trial, std::uint32_t tap, Purpose purpose) {
  const base::DrawKey key{.seed = 7, .trial = trial, .tap = tap, .purpose = purpose};
  return static_cast<double>(base::truncated_normal_q32(key)) / 4294967296.0;
}

/// Contacts as a person knocks them: clock 6 % of the interval, motor 8 ms (Wing & Kristofferson).
std::vector<base::Duration> by_hand(const std::vector<int>& contacts_ms, std::uint32_t trial) {
  std::vector<base::Duration> contacts{0ms};
  for (std::uint32_t j = 1; j < contacts_ms.size(); ++j) {
    const double nominal = contacts_ms[j] - contacts_ms[j - 1];
    const double interval =
        nominal * (1.0 + 0.06 * z_of(trial, j, Purpose::clock_jitter)) +
        8.0 * (z_of(trial, j, Purpose::motor_jitter) - z_of(trial, j - 1, Purpose::motor_jitter));
    contacts.push_back(contacts.back() + base::Duration{static_cast<std::int64_t>(interval * 1e6)});
  }
  return contacts;
}

/// What the device answered in `count` trials, by name; "" for nothing.
std::map<std::string, int> answers(const std::string& path, const std::vector<int>& contacts_ms,
                                   std::uint32_t count) {
  const std::string text = read_source_file(path);
  const rig::RigFile file = rig::parse_rig(text, path);
  VirtualRig rig(file, parse_simulation(text, path, file), 1, false);
  std::map<std::string, int> counts;
  for (std::uint32_t trial = 0; trial < count; ++trial) {
    const auto contacts = by_hand(contacts_ms, trial);
    const base::Instant first = rig.now() + 1s;
    const double strike_m_s = 0.9 + 0.09 * z_of(trial, 0, Purpose::strike);
    rig.fire(pulses_for(file, first, contacts, strike_m_s));
    const auto events = only<base::Event>(observe_all(rig, first + contacts.back() + 1200ms));
    ++counts[events.empty() ? "" : events.front().name];
  }
  return counts;
}

constexpr std::uint32_t trials = 120;
const std::map<std::string, std::vector<int>> rhythms{
    {"call", {0, 190}}, {"kiln", {0, 180, 360}}, {"help", {0, 140, 280, 420, 560}}};

TEST(DemoReleases, TheFirstHearsNearlyEveryRhythm) {
  for (const auto& [name, contacts] : rhythms) {
    EXPECT_GE(answers("demo-data/oak-counter-release-1.toml", contacts, trials)[name], 116) << name;
  }
}

TEST(DemoReleases, TheSecondLosesOrConfusesSomeByItsShortLockout) {
  for (const auto& [name, contacts] : rhythms) {
    const int hits = answers("demo-data/oak-counter-release-2.toml", contacts, trials)[name];
    EXPECT_GE(hits, 85) << name;
    EXPECT_LE(hits, 112) << name;
  }
  EXPECT_GT(answers("demo-data/oak-counter-release-2.toml", rhythms.at("call"), trials)["kiln"], 5);
}

}  // namespace
}  // namespace plexor::virtual_rig
