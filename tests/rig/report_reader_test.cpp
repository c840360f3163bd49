#include "rig/report_reader.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <optional>

#include "rig/line_text.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using ::testing::HasSubstr;

std::string event_at(const std::string& pointer, std::string_view message,
                     Encoding encoding = Encoding::plain) {
  const ReportReader reader({.fields = ReportFields{.event = pointer}});
  const auto reading = reader.read(message, encoding);
  return reading ? reading->event : "no report";
}
std::string form_event(const std::string& pointer, std::string_view body) {
  return event_at(pointer, body, Encoding::form);
}

TEST(ReportReader, ComplainsOfPointersThatAreNone) {
  for (const char* pointer : {"/", "/a", "/a/b/0", "/~0", "/~1", "/a~0b~1c", "/a b", "//"}) {
    EXPECT_EQ(ReportReader::complaint(pointer), std::nullopt) << pointer;
  }
  for (const char* pointer : {"", "a", "a/b", "/~", "/a~", "/a~2", "/~~0", "#/a"}) {
    EXPECT_NE(ReportReader::complaint(pointer), std::nullopt) << pointer;
  }
}

/// The document and the pointers of RFC 6901, section 5.
TEST(ReportReader, FollowsPointersAsTheirStandardShows) {
  const std::string document = R"({"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3,
    "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8})";
  EXPECT_EQ(event_at("/foo/0", document), "bar");
  EXPECT_EQ(event_at("/foo/1", document), "baz");
  EXPECT_EQ(event_at("/", document), "0");
  EXPECT_EQ(event_at("/a~1b", document), "1");
  EXPECT_EQ(event_at("/c%d", document), "2");
  EXPECT_EQ(event_at("/e^f", document), "3");
  EXPECT_EQ(event_at("/g|h", document), "4");
  EXPECT_EQ(event_at("/i\\j", document), "5");
  EXPECT_EQ(event_at("/k\"l", document), "6");
  EXPECT_EQ(event_at("/ ", document), "7");
  EXPECT_EQ(event_at("/m~0n", document), "8");
}

TEST(ReportReader, FindsNothingWhereNothingIs) {
  const std::string document = R"({"foo": ["bar", {"a": "b"}], "x": {"y": "z"}})";
  for (const char* pointer :
       {"/foo", "/foo/2", "/foo/-", "/foo/00", "/foo/0/0", "/foo/-1", "/foo/a", "/x", "/x/y/z",
        "/x/z", "/foo/1", "/foo/99999999999999999999", "//"}) {
    EXPECT_EQ(event_at(pointer, document), "no report") << pointer;
  }
  EXPECT_EQ(event_at("/foo/1/a", document), "b");
  EXPECT_EQ(event_at("/x/y", document), "z");
}

TEST(ReportReader, NumbersAndTruthsAreText) {
  EXPECT_EQ(event_at("/e", R"({"e": 12})"), "12");
  EXPECT_EQ(event_at("/e", R"({"e": -7})"), "-7");
  EXPECT_EQ(event_at("/e", R"({"e": 18446744073709551615})"), "18446744073709551615");
  EXPECT_EQ(event_at("/e", R"({"e": 0.5})"), "0.5");
  EXPECT_EQ(event_at("/e", R"({"e": true})"), "true");
  EXPECT_EQ(event_at("/e", R"({"e": false})"), "false");
  EXPECT_EQ(event_at("/e", R"({"e": null})"), "no report");
  EXPECT_EQ(event_at("/e", R"({"e": ""})"), "no report");
  EXPECT_EQ(event_at("/0", R"(["call"])"), "call");
}

TEST(ReportReader, ReadsEveryPart) {
  const ReportReader reader(
      {.fields = ReportFields{
           .event = "/e", .device = "/d", .device_time_ms = "/t", .strength = "/s", .id = "/i"}});
  const auto reading =
      reader.read(R"({"e": "call", "d": "panel", "t": 1234.5, "s": "0.75", "i": 42})");
  ASSERT_TRUE(reading);
  EXPECT_EQ(reading->event, "call");
  EXPECT_EQ(reading->device, "panel");
  EXPECT_EQ(reading->device_time, 1234500us);
  EXPECT_EQ(reading->strength, 0.75);
  EXPECT_EQ(reading->id, "42");
  const auto bare = reader.read(R"({"e": "call", "t": "soon", "s": [1], "i": null})");
  ASSERT_TRUE(bare);
  EXPECT_FALSE(bare->device_time || bare->strength);
  EXPECT_EQ(bare->device + bare->id, "");
}

TEST(ReportReader, WhatIsNoDocumentIsNoReport) {
  for (const std::string& message :
       {std::string(), std::string("call"), std::string("{\"e\": \"call\""),
        std::string("{\"e\": \"call\"} x"), std::string("{\"e\": 'call'}"),
        std::string("{\"e\": \"\xff\"}"), std::string("{\"e\": 1e999}"), std::string(1, '\0'),
        std::string(60'000, '['), std::string(60'000, '[') + std::string(60'000, ']')}) {
    EXPECT_EQ(event_at("/e", message), "no report") << message.substr(0, 20);
  }
  EXPECT_EQ(event_at("/e", std::string_view()), "no report");
  EXPECT_EQ(event_at("/e", "  {\"e\": \"call\"}\n"), "call");
}

TEST(ReportReader, MakesWhatItFoundPrintableAndShort) {
  EXPECT_EQ(event_at("/e", R"({"e": "a\u0000b\u001bc"})"), "a\uFFFDb\uFFFDc");
  EXPECT_EQ(event_at("/e", "{\"e\": \"" + std::string(100, 'a') + "\"}"), std::string(60, 'a'));
  EXPECT_EQ(form_event("/e", "e=%00%ff"), "\uFFFD\uFFFD");
}

TEST(ReportReader, OneDocumentLeavesNothingBehind) {
  const ReportReader reader({.fields = ReportFields{.event = "/e"}});
  EXPECT_TRUE(reader.read(R"({"e": "call"})"));
  EXPECT_FALSE(reader.read("{"));
  EXPECT_FALSE(reader.read("{}"));
  EXPECT_TRUE(reader.read("{\"x\": \"" + std::string(100'000, 'a') + R"(", "e": "kiln"})"));
}

TEST(ReportReader, ReadsForms) {
  EXPECT_EQ(form_event("/e", "e=call"), "call");
  EXPECT_EQ(form_event("/e", "a=b&e=call+me%21&e=kiln"), "call me!");
  EXPECT_EQ(form_event("/e", "&&e=a=b&"), "a=b");
  EXPECT_EQ(form_event("/e", "%65=call"), "call");
  EXPECT_EQ(form_event("/a~1b", "a%2Fb=call"), "call");
  EXPECT_EQ(form_event("/a~0b", "a~b=call"), "call");
  EXPECT_EQ(form_event("/a~01", "a~1=call"), "call");
  EXPECT_EQ(form_event("/", "=call"), "call");
}

TEST(ReportReader, BearsFormsThatAreBroken) {
  for (const char* body : {"", "&", "=", "e", "e=", "e=&e=call", "E=call", "{\"e\": \"call\"}"}) {
    EXPECT_EQ(form_event("/e", body), "no report") << body;
  }
  EXPECT_EQ(form_event("/e", "e=%"), "%");
  EXPECT_EQ(form_event("/e", "e=%4"), "%4");
  EXPECT_EQ(form_event("/e", "e=%zz%41"), "%zzA");
  std::string many;
  for (int i = 0; i < 1000; ++i) many += std::to_string(i) + "=x&";
  EXPECT_EQ(form_event("/e", many + "e=call"), "no report");  // it gives up before
  EXPECT_EQ(form_event("/e", "e=call&" + many), "call");
}

TEST(ReportReader, APatternReadsAWholeFormDecoded) {
  const ReportReader reader({.pattern = "knock: (?P<event>\\w+)"});
  EXPECT_EQ(reader.read("say=knock:+call", Encoding::form).value().event, "call");
  EXPECT_FALSE(reader.read("say=knock:+call"));
}

TEST(ReportReader, AMessageWithoutTextIsNoEvent) {
  const ReportReader reader({});
  EXPECT_EQ(reader.read("call").value().event, "call");
  EXPECT_FALSE(reader.read(""));
  EXPECT_FALSE(reader.read("", Encoding::form));
}

}  // namespace
}  // namespace plexor::rig
