#include "rig/line_assembler.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plexor::rig {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

/// What comes of pieces of text, fed one after the other.
class Fed {
 public:
  explicit Fed(const std::vector<std::string>& pieces) {
    for (const std::string& piece : pieces) assembler_.feed(piece);
  }
  std::vector<std::string> lines;
  [[nodiscard]] std::size_t dropped() const { return assembler_.dropped(); }

 private:
  LineAssembler assembler_{[this](std::string_view line) { lines.emplace_back(line); }};
};

const std::string longest(LineAssembler::longest_line, 'x');

TEST(LineAssembler, TakesEachLineOfAPiece) {
  EXPECT_THAT(Fed({"call\nhelp\n"}).lines, ElementsAre("call", "help"));
}

TEST(LineAssembler, PutsPiecesTogether) {
  EXPECT_THAT(Fed({"c", "al", "", "l", "\nhe", "lp\n"}).lines, ElementsAre("call", "help"));
}

TEST(LineAssembler, HoldsBackALineThatHasNotEnded) { EXPECT_THAT(Fed({"call"}).lines, IsEmpty()); }

TEST(LineAssembler, TakesEitherEndAlsoInPieces) {
  EXPECT_THAT(Fed({"call\r\nhelp\r", "\n"}).lines, ElementsAre("call", "help"));
}

TEST(LineAssembler, AnEmptyLineIsNone) {
  EXPECT_THAT(Fed({"\n\r\n\n  \ncall\n"}).lines, ElementsAre("call"));
}

TEST(LineAssembler, DropsALineThatIsTooLongWholeAndCountsIt) {
  const Fed fed({longest + "x\ncall\n", longest, longest, "\n"});
  EXPECT_THAT(fed.lines, ElementsAre("call"));
  EXPECT_EQ(fed.dropped(), 2U);
}

TEST(LineAssembler, TakesTheLongestLineWithEitherEnd) {
  const Fed fed({longest + "\n" + longest + "\r\n"});
  EXPECT_THAT(fed.lines, ElementsAre(longest, longest));
  EXPECT_EQ(fed.dropped(), 0U);
}

TEST(LineAssembler, BearsWhateverComes) {
  std::string garbage;
  for (int byte = 0; byte < 256; ++byte) garbage += static_cast<char>(byte);
  Fed fed(std::vector<std::string>(1000, garbage));
  for (const std::string& line : fed.lines) EXPECT_LE(line.size(), LineAssembler::longest_line);
  EXPECT_THAT(Fed({std::string("\0a\0\n", 4)}).lines, ElementsAre(std::string("\0a\0", 3)));
}

}  // namespace
}  // namespace plexor::rig
