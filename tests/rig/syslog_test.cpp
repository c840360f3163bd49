#include "rig/network/syslog.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "rig/network/framer.hpp"

namespace plexor::rig {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::Optional;

const std::string head = "<13>1 2026-06-11T09:30:00.5Z panel knock 7 ID1 ";

// After the four examples of RFC 5424, section 6.5.

TEST(SyslogText, IsTheMessageWithoutItsByteOrderMark) {
  EXPECT_THAT(syslog_text("<34>1 2026-06-11T22:14:15.003Z panel.example.com knock - ID47 - "
                          "\xEF\xBB\xBF'call' heard at the counter"),
              Optional(std::string_view("'call' heard at the counter")));
}

TEST(SyslogText, NeedsNoByteOrderMark) {
  EXPECT_THAT(syslog_text("<165>1 2026-08-24T05:14:15.000003-07:00 192.0.2.1 knock 8710 - - "
                          "%% It's time to light the kiln."),
              Optional(std::string_view("%% It's time to light the kiln.")));
}

TEST(SyslogText, IsBehindTheStructuredData) {
  EXPECT_THAT(syslog_text("<165>1 2026-10-11T22:14:15.003Z panel.example.com knock - ID47 "
                          R"([knock@32473 spot="3" source="disc" eventID="1011"] )"
                          "\xEF\xBB\xBFhelp"),
              Optional(std::string_view("help")));
}

TEST(SyslogText, IsEmptyWhereThereIsOnlyStructuredData) {
  const std::string message =
      "<165>1 2026-10-11T22:14:15.003Z panel.example.com knock - ID47 "
      R"([knock@32473 spot="3"][firing@32473 class="high"])";
  EXPECT_THAT(syslog_text(message), Optional(std::string_view()));
  EXPECT_THAT(syslog_text(message + "\n"), Optional(std::string_view()));
}

TEST(SyslogText, AllFieldsMayBeNil) {
  EXPECT_THAT(syslog_text("<0>1 - - - - - - call"), Optional(std::string_view("call")));
  EXPECT_THAT(syslog_text("<191>1 - - - - - -"), Optional(std::string_view()));
}

TEST(SyslogText, IsBehindValuesThatLookLikeTheirEnd) {
  EXPECT_THAT(syslog_text(head + R"([a b="\"\] no \] \\" c="x\y"] shave)"),
              Optional(std::string_view("shave")));
  EXPECT_THAT(syslog_text(head + R"([a b="\\"] kiln)"), Optional(std::string_view("kiln")));
  EXPECT_THAT(syslog_text(head + R"([a b=""][c] [d])"), Optional(std::string_view("[d]")));
}

TEST(SyslogText, LosesOnlyTheLineEndThatSomeSendersAdd) {
  EXPECT_THAT(syslog_text(head + "-  call \r\n"), Optional(std::string_view(" call ")));
}

TEST(SyslogText, IsNothingOfAnythingElse) {
  for (const std::string message : {"",
                                    "call",
                                    "<13>",
                                    "<13>1",
                                    "<13> call",
                                    "<192>1 - - - - - - x",
                                    "<013>1 - - - - - - x",
                                    "<1000>1 - - - - - - x",
                                    "<-1>1 - - - - - - x",
                                    "<>1 - - - - - - x",
                                    "<13>2 - - - - - - x",
                                    "<13>11 - - - - - - x",
                                    "<13>1 - - - - - x",
                                    "<13>1  - - - - - - x",
                                    "<13>Jun 11 09:30:00 panel knock: call",
                                    " <13>1 - - - - - - x",
                                    "<13>1 - - - - - -x",
                                    "<13>1 - - - - - [] x",
                                    "<13>1 - - - - - [a x",
                                    "<13>1 - - - - - [a b] x",
                                    "<13>1 - - - - - [a b=c] x",
                                    "<13>1 - - - - - [a b=\"c] x",
                                    "<13>1 - - - - - [a b=\"]\"] x",
                                    "<13>1 - - - - - [a b=\"c\\",
                                    "<13>1 - - - - - [a]x"}) {
    EXPECT_EQ(syslog_text(message), std::nullopt) << message;
  }
}

TEST(SyslogText, FieldsHaveTheirLongestLength) {
  const auto with_host = [](std::size_t length) {
    return syslog_text("<13>1 - " + std::string(length, 'h') + " - - - - call");
  };
  EXPECT_TRUE(with_host(255));
  EXPECT_FALSE(with_host(256));
  const auto with_name = [](std::size_t length) {
    return syslog_text("<13>1 - - - - - [" + std::string(length, 'n') + "] call");
  };
  EXPECT_TRUE(with_name(32));
  EXPECT_FALSE(with_name(33));
}

/// What comes of pieces of a connection, fed one after the other.
struct Fed {
  explicit Fed(const std::vector<std::string>& pieces) {
    for (const std::string& piece : pieces) good = framer.feed(piece);
  }
  std::vector<std::string> messages;
  SyslogFramer framer{[this](std::string_view message) { messages.emplace_back(message); }};
  bool good = true;
};

const std::string longest(SyslogFramer::longest_message, 'x');

TEST(SyslogFramer, CountsBytes) {
  EXPECT_THAT(Fed({"4 call5 he\nlp4 kiln"}).messages, ElementsAre("call", "he\nlp", "kiln"));
}

TEST(SyslogFramer, TakesLines) {
  EXPECT_THAT(Fed({"<13>1 call\n<13>1 help\r\n\n"}).messages,
              ElementsAre("<13>1 call", "<13>1 help\r"));
}

TEST(SyslogFramer, TellsBothApartForEachMessage) {
  EXPECT_THAT(Fed({"4 call<13>help\n\n4 kiln\n<13>shave\n"}).messages,
              ElementsAre("call", "<13>help", "kiln", "<13>shave"));
}

TEST(SyslogFramer, PutsPiecesTogether) {
  std::vector<std::string> bytes;
  for (const char byte : std::string("12 <13>1 - call<13>help\n4 kiln"))
    bytes.emplace_back(1, byte);
  EXPECT_THAT(Fed(bytes).messages, ElementsAre("<13>1 - call", "<13>help", "kiln"));
}

TEST(SyslogFramer, DropsWhatIsTooLongWholeCountsItAndFindsTheNext) {
  for (const std::string& too_long :
       {"2049 " + longest + "x", "<" + longest + "\n", "100000 " + std::string(100'000, '4')}) {
    const Fed fed({too_long + "4 call"});
    EXPECT_TRUE(fed.good);
    EXPECT_THAT(fed.messages, ElementsAre("call"));
    EXPECT_EQ(fed.framer.dropped(), 1U);
  }
}

TEST(SyslogFramer, TakesTheLongest) {
  const Fed fed({"2048 " + longest, longest + "\n"});
  EXPECT_THAT(fed.messages, ElementsAre(longest, longest));
  EXPECT_EQ(fed.framer.dropped(), 0U);
}

TEST(SyslogFramer, ASillyCountIsTheEnd) {
  for (const std::string count :
       {"0 ", "05 call", "1000001 ", "99999999999999999999999999 ", "4call", "4\ncall", "4-"}) {
    const Fed fed({"4 kiln", count, "4 call"});
    EXPECT_FALSE(fed.good) << count;
    EXPECT_THAT(fed.messages, ElementsAre("kiln")) << count;
  }
}

TEST(SyslogFramer, KnowsWhenItIsWithinAMessage) {
  for (const std::string begun : {"4", "4 ", "4 cal", "<", "<13>call", "4 call1"}) {
    EXPECT_TRUE(Fed({begun}).framer.is_within()) << begun;
  }
  for (const std::string ended : {"", "4 call", "<13>call\n", "4 call\n\r\n"}) {
    EXPECT_FALSE(Fed({ended}).framer.is_within()) << ended;
  }
}

TEST(Framer, LinesOfASocketMayBeLonger) {
  std::vector<std::string> lines;
  Framer framer(Framing::lines, [&](std::string_view line) { lines.emplace_back(line); });
  const std::string line(longest_socket_line, 'x');
  EXPECT_TRUE(framer.feed("call\r\n" + line + "\n" + line + "x\nhelp\nki"));
  EXPECT_THAT(lines, ElementsAre("call", line, "help"));
  EXPECT_EQ(framer.dropped(), 1U);
  EXPECT_TRUE(framer.is_within());
  EXPECT_TRUE(framer.feed("ln\n"));
  EXPECT_FALSE(framer.is_within());
}

std::vector<std::string> parts_of(Framing framing, const std::string& datagram) {
  std::vector<std::string> parts;
  (void)split_datagram(framing, datagram, [&](std::string_view part) { parts.emplace_back(part); });
  return parts;
}

TEST(Datagram, HasLinesTheLastOfWhichNeedNotEnd) {
  EXPECT_THAT(parts_of(Framing::lines, "call\nhelp\r\n\nkiln"),
              ElementsAre("call", "help", "kiln"));
  EXPECT_THAT(parts_of(Framing::lines, ""), IsEmpty());
}

TEST(Datagram, IsOneSyslogMessage) {
  EXPECT_THAT(parts_of(Framing::syslog, "call\nhelp"), ElementsAre("call\nhelp"));
  EXPECT_THAT(parts_of(Framing::syslog, longest + "x"), IsEmpty());
}

}  // namespace
}  // namespace plexor::rig
