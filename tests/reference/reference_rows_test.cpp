#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <limits>

#include "reference/reference_check.hpp"
#include "reference/reference_row.hpp"

namespace plexor::reference {
namespace {

using base::InputError;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;
using ::testing::ThrowsMessage;

const base::Place place{"checks.csv", 7};
constexpr double infinity = std::numeric_limits<double>::infinity();

Row row_of(const std::string& inputs, const std::string& expected, const std::string& tolerance) {
  return {
      place, "id", "quantity", Inputs(inputs, place), expected, parse_tolerance(tolerance, place)};
}

/// A file of this content in a folder of its own.
std::filesystem::path file_of(const std::string& content) {
  const std::filesystem::path folder =
      std::filesystem::path(::testing::TempDir()) /
      ::testing::UnitTest::GetInstance()->current_test_info()->name();
  std::filesystem::create_directories(folder);
  std::ofstream(folder / "checks.csv", std::ios::binary) << content;
  return folder / "checks.csv";
}

TEST(CsvLine, SplitsAtCommas) {
  EXPECT_THAT(parse_csv_line("a,,c d", place), ElementsAre("a", "", "c d"));
  EXPECT_THAT(parse_csv_line("", place), ElementsAre(""));
  EXPECT_THAT(parse_csv_line("a,", place), ElementsAre("a", ""));
}

TEST(CsvLine, KeepsCommasAndDoubledQuotesInsideQuotes) {
  EXPECT_THAT(parse_csv_line(R"("a, b","say ""tap""","",x)", place),
              ElementsAre("a, b", R"(say "tap")", "", "x"));
}

TEST(CsvLine, NamesThePlaceOfAMisplacedQuote) {
  for (const char* line : {R"(a,"b)", R"(a,"b"c)", R"(a,b"c")"})
    EXPECT_THAT([&] { parse_csv_line(line, place); },
                ThrowsMessage<InputError>(HasSubstr("checks.csv:7: found")))
        << line;
}

TEST(RowInputs, AreReadByKeyAndKind) {
  const Inputs inputs("x=1e+05;window=-20 1.5 inf;method=newcombe(method 10);empty=;", place);
  EXPECT_EQ(inputs.count("x"), 100000U);
  EXPECT_THAT(inputs.numbers("window"), ElementsAre(-20.0, 1.5, infinity));
  EXPECT_THAT(inputs.numbers("empty"), IsEmpty());
  EXPECT_EQ(inputs.text("method"), "newcombe(method 10)");
  EXPECT_EQ(inputs.text_or("side", "two"), "two");
  EXPECT_FALSE(inputs.has("side"));
}

TEST(RowInputs, RefuseWhatCannotBeRead) {
  EXPECT_THROW(Inputs("x", place), InputError);
  EXPECT_THROW(Inputs("=1", place), InputError);
  EXPECT_THROW(Inputs("x=1;x=2", place), InputError);
  const Inputs inputs("n=1.5;m=-1;p=3 of 4", place);
  EXPECT_THROW((void)inputs.count("n"), InputError);
  EXPECT_THROW((void)inputs.count("m"), InputError);
  EXPECT_THROW((void)inputs.number("p"), InputError);
  EXPECT_THROW((void)inputs.number("q"), InputError);
}

TEST(AToleranceOfARow, IsAbsoluteUnlessItSaysRelative) {
  EXPECT_TRUE(agrees(10.4, row_of("", "10", "0.5")));
  EXPECT_TRUE(agrees(10.4, row_of("", "10", "abs:0.5")));
  EXPECT_FALSE(agrees(10.6, row_of("", "10", "0.5")));
  EXPECT_TRUE(agrees(10.4, row_of("", "10", "rel:0.05")));
  EXPECT_FALSE(agrees(10.6, row_of("", "10", "rel:0.05")));
}

TEST(AToleranceOfARow, OfNothingMeansEqual) {
  for (const char* exact : {"0", "exact"}) {
    EXPECT_TRUE(agrees(10.0, row_of("", "10", exact)));
    EXPECT_FALSE(agrees(std::nextafter(10.0, 11.0), row_of("", "10", exact)));
    EXPECT_TRUE(agrees("0-0 1-2", row_of("", "0-0 1-2", exact)));
    EXPECT_FALSE(agrees("0-0", row_of("", "0-0 1-2", exact)));
  }
}

TEST(AToleranceOfARow, MustBeANumber) {
  for (const char* text : {"", "-1", "nan", "rel:", "1e-9x"})
    EXPECT_THROW(parse_tolerance(text, place), InputError) << text;
}

TEST(AnAnswer, OfInfinityAgreesOnlyWithInfinity) {
  EXPECT_TRUE(agrees(infinity, row_of("", "inf", "0")));
  EXPECT_TRUE(agrees(infinity, row_of("", "inf", "1e-9")));
  EXPECT_FALSE(agrees(-infinity, row_of("", "inf", "1e-9")));
  EXPECT_FALSE(agrees(1e300, row_of("", "inf", "1e-9")));
  EXPECT_FALSE(agrees(infinity, row_of("", "1", "1e-9")));
}

TEST(AnAnswer, ThatIsNotANumberAgreesWithNothing) {
  EXPECT_FALSE(agrees(std::nan(""), row_of("", "1", "1e9")));
}

TEST(AnAnswer, OfSeveralNumbersIsComparedOneByOne) {
  const std::vector<double> answer{1.0, 2.0};
  EXPECT_TRUE(agrees(answer, row_of("", "1 2.05", "0.1")));
  EXPECT_TRUE(agrees(answer, row_of("", "1/2", "exact")));
  EXPECT_FALSE(agrees(answer, row_of("", "1 2.2", "0.1")));
  EXPECT_FALSE(agrees(answer, row_of("", "1", "0.1")));
}

TEST(AHandler, IsFoundByMethodQuantityAndInputs) {
  const std::vector<Handler> handlers{
      {"wilson", "quantity", "x n", [](const Inputs&) -> Answer { return 1.0; }},
      {"", "quantity", "p", [](const Inputs&) -> Answer { return 2.0; }}};
  const auto find = [&](const std::string& inputs) {
    return find_handler(handlers, row_of(inputs, "1", "0"));
  };
  EXPECT_EQ(find("method=wilson;x=1;n=2"), &handlers[0]);
  EXPECT_EQ(find("generator=wilson;x=1;n=2"), &handlers[0]);
  EXPECT_EQ(find("p=1;n=2"), &handlers[1]);
  EXPECT_EQ(find("method=wilson;x=1"), nullptr);
  EXPECT_EQ(find("method=wald;x=1;n=2;p=1"), nullptr);
}

TEST(ACheckFile, GivesItsRowsWithTheirPlaces) {
  const auto rows =
      read_rows(file_of("\"check_id\",quantity,inputs,expected,tolerance\r\n"
                        "a1,upper,x=1;,inf,0\r\n\r\nb2,lower,x=2,3,rel:0.1\r\n"));
  ASSERT_THAT(rows, SizeIs(2));
  EXPECT_EQ(rows[0].check_id, "a1");
  EXPECT_EQ(rows[0].place.line, 2U);
  EXPECT_EQ(rows[1].place.line, 4U);
  EXPECT_EQ(rows[1].quantity, "lower");
  EXPECT_EQ(rows[1].inputs.count("x"), 2U);
  EXPECT_EQ(rows[1].tolerance.kind, Tolerance::Kind::relative);
}

TEST(ACheckFile, WithoutCheckIdsIsLeftAlone) {
  EXPECT_THAT(read_rows(file_of("time_s,voltage_V\n0,0\n")), IsEmpty());
  EXPECT_THAT(read_rows(file_of("")), IsEmpty());
}

TEST(ACheckFile, NamesTheLineOfARowThatCannotBeRead) {
  const std::string header = "check_id,quantity,inputs,expected,tolerance\n";
  for (const char* bad : {"a,b,x=1,2", "a,b,x=1,2,0,more", "a,b,x,2,0", "a,b,x=1,2,small"})
    EXPECT_THAT([&] { (void)read_rows(file_of(header + "a,b,x=1,2,0\n" + bad + "\n")); },
                ThrowsMessage<InputError>(HasSubstr("checks.csv:3: found")))
        << bad;
}

TEST(ACheckFile, NeedsAllItsColumns) {
  EXPECT_THAT([&] { (void)read_rows(file_of("check_id,quantity,inputs,expected\n")); },
              ThrowsMessage<InputError>(HasSubstr("checks.csv:1: found no column tolerance")));
}

TEST(AFolder, WithoutCheckFilesIsRefused) {
  EXPECT_THROW((void)csv_files("/nonexistent"), InputError);
  const auto file = file_of("");
  EXPECT_THAT(csv_files(file.parent_path()), ElementsAre(file));
  std::filesystem::remove(file);
  EXPECT_THROW((void)csv_files(file.parent_path()), InputError);
}

}  // namespace
}  // namespace plexor::reference
