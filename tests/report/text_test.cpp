#include "report/text.hpp"

#include <gtest/gtest.h>

namespace plexor::report {
namespace {

TEST(Printable, LeavesOrdinaryTextAlone) {
  EXPECT_EQ(printable("oak counter, 40 mm\nTür, 戸, \xF0\x9F\x94\xA8"),
            "oak counter, 40 mm\nTür, 戸, \xF0\x9F\x94\xA8");
}

TEST(Printable, ReplacesWhatCouldSteerATerminal) {
  EXPECT_EQ(printable("\x1b[31m"), "\xEF\xBF\xBD[31m");
  EXPECT_EQ(printable("a\xC2\x9B"
                      "b"),
            "a\xEF\xBF\xBD"
            "b");  // C1
  EXPECT_EQ(printable(std::string_view("a\0b", 3)),
            "a\xEF\xBF\xBD"
            "b");
}

TEST(Printable, ReplacesOverridesOfTheDirectionOfWriting) {
  EXPECT_EQ(printable("mug\xE2\x80\xAE"
                      "gum"),
            "mug\xEF\xBF\xBD"
            "gum");  // U+202E
}

TEST(Printable, ReplacesBrokenBytesOneByOne) {
  EXPECT_EQ(printable("\xFF\xC3"), "\xEF\xBF\xBD\xEF\xBF\xBD");
  EXPECT_EQ(printable("\xC0\xAF"), "\xEF\xBF\xBD\xEF\xBF\xBD");  // overlong
  EXPECT_EQ(printable("\xED\xA0\x80").size(), 9U);               // a surrogate
}

TEST(Printable, DropsTheCarriageReturnOfALineEnd) {
  EXPECT_EQ(printable("a\r\nb"), "a\nb");
  EXPECT_EQ(printable("a\rb"),
            "a\xEF\xBF\xBD"
            "b");
}

TEST(PrintableLine, IsOneLine) { EXPECT_EQ(printable_line("a\nb\tc"), "a b c"); }

}  // namespace
}  // namespace plexor::report
