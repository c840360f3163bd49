#include "base/toml_reader.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plexor::base {
namespace {

using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

template <typename Use>
std::string message_of(const std::string& text, Use use) {
  try {
    TableReader reader = TableReader::parse(text, "f.toml");
    use(reader);
  } catch (const InputError& error) {
    return error.what();
  }
  return "no error";
}

TEST(TableReader, NamesThePlaceOfBrokenToml) {
  EXPECT_THAT(message_of("a = 1\nb = [", [](auto&) {}), HasSubstr("f.toml:2"));
}

TEST(TableReader, SurvivesHostileText) {
  // Each once ran into an assertion or an unreachable branch of the TOML library.
  for (const char* text : {"[.", "fo\xEF\xBB\x99 = 1", "\xEF\xBB\x99"}) {
    EXPECT_THAT(message_of(text, [](auto&) {}), HasSubstr("broken TOML")) << text;
  }
}

TEST(TableReader, SuggestsTheNearestKnownKey) {
  const std::string message = message_of("\nwindw_ms = 3\n", [](TableReader& r) {
    (void)r.has("window_ms");
    (void)r.has("gap_ms");
    r.finish();
  });
  EXPECT_THAT(message, AllOf(HasSubstr("f.toml:2:1"), HasSubstr("windw_ms"),
                             HasSubstr("did you mean \"window_ms\"?")));
}

TEST(TableReader, RefusesNanInfinityWrongTypesAndRanges) {
  const auto read = [](TableReader& r) { (void)r.number("x", {0.0, 10.0}); };
  for (const auto* bad :
       {"x = nan", "x = inf", "x = -1", "x = 11", "x = \"3\"", "x = [3]", "y = 1", "x = 1e400"}) {
    EXPECT_NE(message_of(bad, read), "no error") << bad;
  }
  EXPECT_EQ(message_of("x = 10", read), "no error");
}

TEST(TableReader, ConvertsDurationsByTheKeysUnit) {
  TableReader reader = TableReader::parse("a_ms = 1.5\nb_s = [2, 0.25]", "f");
  EXPECT_EQ(reader.duration("a_ms", {0, 10}), 1500us);
  EXPECT_THAT(reader.durations("b_s", {0, 10}), ElementsAre(2s, 250ms));
  reader.finish();
}

TEST(TableReader, ReadsRangesOfDurations) {
  TableReader reader = TableReader::parse("a_ms = [[1, 2.5], [3, 3]]\nb_ms = []", "f");
  EXPECT_THAT(reader.duration_ranges("a_ms", {0, 10}),
              ElementsAre(std::pair<Duration, Duration>{1ms, 2500us},
                          std::pair<Duration, Duration>{3ms, 3ms}));
  EXPECT_THAT(reader.duration_ranges("b_ms", {0, 10}), ElementsAre());
  for (const auto* bad : {"a_ms = [1, 2]", "a_ms = [[1]]", "a_ms = [[2, 1]]", "a_ms = [[1, 11]]",
                          "a_ms = 3", "a_ms = [[1, \"2\"]]", "b_ms = []"}) {
    EXPECT_NE(message_of(bad,
                         [](auto& r) {
                           (void)r.duration_ranges("a_ms", {0, 10});
                         }),
              "no error")
        << bad;
  }
}

TEST(TableReader, ListsSubTablesInFileOrder) {
  const TableReader reader = TableReader::parse("[zeta]\n[alpha]\n[mid]\n", "f");
  EXPECT_THAT(reader.table_names(), ElementsAre("zeta", "alpha", "mid"));
}

TEST(NearestWord, FindsNothingWhenNothingIsNear) {
  EXPECT_EQ(nearest_word("zzzzzz", {"window_ms", "gap_ms"}), "");
  EXPECT_EQ(nearest_word("gap", {"window_ms", "gap_ms"}), "");
  EXPECT_EQ(nearest_word("gap_s", {"window_ms", "gap_ms"}), "gap_ms");
}

}  // namespace
}  // namespace plexor::base
