#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <future>
#include <optional>

#include "rig/network/receive_stamp.hpp"
#include "rig/rate_cap.hpp"
#include "rig/web_hook_bench.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;
using ::testing::AllOf;
using ::testing::AnyOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;
using ::testing::StartsWith;

// Who is heard.

TEST_F(WebHookTest, HearsWhoHasTheToken) {
  listen();
  EXPECT_EQ(answer_to(Post{}.with("call")), "HTTP/1.1 204 No Content\r\n");
  EXPECT_THAT(told_.events(), ElementsAre("call"));
  EXPECT_THAT(told_.lines(), ElementsAre("call"));
  EXPECT_THAT(told_.states(), IsEmpty());
}

TEST_F(WebHookTest, RefusesWhoHasNot) {
  listen();
  for (const char* token :
       {"", "wrong", "kiln-2f61c", "kiln-2f61c00", "KILN-2F61C0", "kiln-2f61c1"}) {
    EXPECT_THAT(answer_to(Post{.token = token}.with("call")),
                AllOf(StartsWith("HTTP/1.1 401 "), HasSubstr("WWW-Authenticate: Bearer\r\n")))
        << token;
  }
  const std::string basic = fmt::format("Authorization: Basic {}\r\n", right_token);
  EXPECT_EQ(ask(Post{.token = "", .more = basic}.with("call")), 401);
  EXPECT_EQ(
      ask(Post{.path = fmt::format("/knock/panel?access_token={}", right_token), .token = ""}.with(
          "call")),
      401);
  EXPECT_THAT(told_.events(), IsEmpty());
  EXPECT_THAT(told_.lines(), IsEmpty());
  EXPECT_THAT(told_.remarks(), ElementsAre(AllOf(HasSubstr("\"panel\""), HasSubstr("127.0.0.1"),
                                                 HasSubstr("token"))));
}

TEST_F(WebHookTest, TheNameOfTheSchemeIsOfAnyCase) {
  listen();
  const std::string lower = fmt::format("authorization: bearer {}\r\n", right_token);
  EXPECT_EQ(ask(Post{.token = "", .more = lower}.with("call")), 204);
}

TEST_F(WebHookTest, SaysWhatIsWrongWithARequest) {
  listen();
  EXPECT_EQ(ask(Post{.path = "/knock/shelf"}.with("call")), 404);
  EXPECT_EQ(ask(Post{.path = "/knock/panel/"}.with("call")), 404);
  EXPECT_EQ(ask(Post{.path = "/KNOCK/panel"}.with("call")), 404);
  for (const char* method : {"GET", "PUT", "HEAD", "OPTIONS", "DELETE", "KNOCK", "post"}) {
    EXPECT_THAT(answer_to(Post{.method = method}.with("")),
                AllOf(StartsWith("HTTP/1.1 405 "), HasSubstr("Allow: POST\r\n")))
        << method;
  }
  EXPECT_EQ(ask(Post{.type = "text/html"}.with("call")), 415);
  EXPECT_EQ(ask(Post{.type = "multipart/form-data; boundary=a"}.with("call")), 415);
  EXPECT_EQ(ask(Post{.more = "Content-Encoding: gzip\r\n"}.with("call")), 415);
  EXPECT_EQ(ask(Post{.more = "Expect: wonders\r\n"}.with("call")), 417);
  EXPECT_EQ(ask(Post{}.head("")), 411);
  EXPECT_EQ(ask("knock knock\r\n\r\n"), 400);
  EXPECT_EQ(ask("\x16\x03\x01\x02"), 400);  // the begin of TLS
  EXPECT_EQ(ask(Post{.more = "X-Note: " + std::string(8192, 'a') + "\r\n"}.with("call")), 431);
  EXPECT_EQ(ask(std::string(8193, 'A')), 431);
  EXPECT_THAT(told_.events(), IsEmpty());
}

TEST_F(WebHookTest, AHeaderAndABodyMayBeAsLongAsTheLimits) {
  listen();
  const std::size_t rest =
      limits_.header_bytes - Post{.more = "X-Note: \r\n"}.head("Content-Length: 4\r\n").size();
  EXPECT_EQ(ask(Post{.more = "X-Note: " + std::string(rest, 'a') + "\r\n"}.with("call")), 204);
  EXPECT_EQ(ask(Post{.more = "X-Note: " + std::string(rest + 1, 'a') + "\r\n"}.with("call")), 431);
  EXPECT_EQ(ask(Post{}.with(std::string(limits_.body_bytes, 'a'))), 204);
  EXPECT_EQ(ask(Post{}.with(std::string(limits_.body_bytes + 1, 'a'))), 413);
  EXPECT_THAT(told_.events(), SizeIs(2));
}

TEST_F(WebHookTest, OnlyNamedPeersAreHeard) {
  settings_.peers = {"127.0.0.2"};
  listen();
  WebHookSettings open = settings_;
  open.path = "/knock/shelf";
  open.peers = {};
  listen_to_other(open);
  EXPECT_EQ(WebClient(server_->port(), "127.0.0.2").ask(Post{}.with("call")), 204);
  EXPECT_EQ(WebClient(server_->port(), "127.0.0.3").ask(Post{}.with("help")), 403);
  EXPECT_EQ(WebClient(server_->port(), "127.0.0.3").ask(Post{}.with("kiln")), 403);
  EXPECT_EQ(WebClient(server_->port(), "127.0.0.3").ask(Post{.path = open.path}.with("shave")),
            204);
  EXPECT_THAT(told_.events(), ElementsAre("call"));
  EXPECT_THAT(told_.remarks(), ElementsAre(AllOf(HasSubstr("127.0.0.3"), HasSubstr("peers"))));
  EXPECT_THAT(other_told_.events(), ElementsAre("shave"));
}

TEST_F(WebHookTest, WhoIsNamedNowhereDoesNotEvenComeIn) {
  settings_.peers = {"127.0.0.2"};
  listen();
  WebClient stranger(server_->port(), "127.0.0.3");
  stranger.say(Post{}.with("call"));
  EXPECT_TRUE(stranger.is_closed());
  EXPECT_EQ(WebClient(server_->port(), "127.0.0.2").ask(Post{}.with("kiln")), 204);
  EXPECT_THAT(told_.events(), ElementsAre("kiln"));
  EXPECT_THAT(told_.remarks(), ElementsAre(HasSubstr("127.0.0.3")));
}

TEST_F(WebHookTest, HearsOverIPv6) {
  try {
    listen("::1");
  } catch (const base::RigFault& fault) {
    GTEST_SKIP() << fault.what();
  }
  EXPECT_EQ(WebClient::over_ipv6(server_->port()).ask(Post{}.with("call")), 204);
  EXPECT_THAT(told_.events(), ElementsAre("call"));
}

TEST_F(WebHookTest, AnIPv4PeerIsItselfWhereBothKindsComeIn) {
  settings_.peers = {"127.0.0.2"};
  try {
    listen("::");
  } catch (const base::RigFault& fault) {
    GTEST_SKIP() << fault.what();
  }
  EXPECT_EQ(WebClient(server_->port(), "127.0.0.2").ask(Post{}.with("call")), 204);
  EXPECT_TRUE(WebClient::over_ipv6(server_->port()).is_closed());
}

// What is heard.

TEST_F(WebHookTest, ReadsJsonTextAndForms) {
  settings_.format.fields = ReportFields{
      .event = "/knock/event", .device_time_ms = "/knock/ms", .strength = "/knock/strength"};
  WebHookSettings text;
  text.path = "/text";
  text.token = settings_.token;
  text.format.pattern = "knock (?P<event>\\w+)";
  listen();
  listen_to_other(text);
  EXPECT_EQ(ask(Post{.type = "application/json; charset=utf-8"}.with(
                R"({"knock": {"event": "call", "ms": 12.5, "strength": 0.75}})")),
            204);
  ASSERT_THAT(told_.reports(), SizeIs(1));
  EXPECT_EQ(told_.reports()[0].device_time, 12500us);
  EXPECT_EQ(told_.reports()[0].strength, 0.75);
  EXPECT_EQ(ask(Post{.path = "/text"}.with("a knock call came")), 204);
  EXPECT_EQ(ask(Post{.path = "/text", .type = ""}.with("a knock kiln came")), 204);
  EXPECT_EQ(ask(Post{.path = "/text", .type = "Application/X-WWW-Form-Urlencoded"}.with(
                "say=a+knock+help%21")),
            204);
  EXPECT_THAT(other_told_.events(), ElementsAre("call", "kiln", "help"));
}

TEST_F(WebHookTest, ReadsFieldsOfAForm) {
  settings_.format.fields = ReportFields{.event = "/event", .strength = "/strength"};
  listen();
  EXPECT_EQ(ask(Post{.type = "application/x-www-form-urlencoded"}.with(
                "strength=0.5&event=call%20%26%20help")),
            204);
  EXPECT_THAT(told_.events(), ElementsAre("call & help"));
  EXPECT_EQ(told_.reports()[0].strength, 0.5);
}

TEST_F(WebHookTest, SaysWhenNothingWasUnderstood) {
  settings_.format.fields = ReportFields{.event = "/event"};
  listen();
  for (const char* body : {"", "{}", "[]", "call", "{\"event\": \"call\"", "{\"event\": null}"}) {
    EXPECT_EQ(ask(Post{.type = "application/json"}.with(body)), 422) << body;
  }
  EXPECT_THAT(told_.events(), IsEmpty());
}

TEST_F(WebHookTest, AnEmptyBodyIsNoReport) {
  listen();
  EXPECT_EQ(ask(Post{}.with("")), 422);
  EXPECT_EQ(ask(Post{}.head("Transfer-Encoding: chunked\r\n") + "0\r\n\r\n"), 422);
  EXPECT_THAT(told_.events(), IsEmpty());
}

TEST_F(WebHookTest, TellsDevicesApartByPathAndByToken) {
  write_token("other", "shelf-token");
  WebHookSettings shelf = settings_;
  shelf.path = "/knock/shelf";
  shelf.token.file = file("other");
  listen();
  listen_to_other(shelf);
  EXPECT_EQ(ask(Post{}.with("call")), 204);
  EXPECT_EQ(ask(Post{.path = shelf.path, .token = "shelf-token"}.with("kiln")), 204);
  EXPECT_EQ(ask(Post{.path = shelf.path}.with("help")), 401);
  EXPECT_THAT(told_.events(), ElementsAre("call"));
  EXPECT_THAT(other_told_.events(), ElementsAre("kiln"));
}

TEST_F(WebHookTest, TellsDevicesApartByAField) {
  settings_.format.fields = ReportFields{.event = "/event", .device = "/from"};
  listen();
  listen_to_other(settings_);
  const Post post{.type = "application/json"};
  EXPECT_EQ(ask(post.with(R"({"event": "call", "from": "panel"})")), 204);
  EXPECT_EQ(ask(post.with(R"({"event": "kiln", "from": "shelf"})")), 204);
  EXPECT_EQ(ask(post.with(R"({"event": "help", "from": "slab"})")), 422);
  EXPECT_THAT(told_.events(), ElementsAre("call"));
  EXPECT_THAT(other_told_.events(), ElementsAre("kiln"));
}

TEST_F(WebHookTest, WhatIsSentAgainCountsOnce) {
  settings_.format.fields = ReportFields{.event = "/event", .id = "/id"};
  listen();
  const Post post{.type = "application/json"};
  for (int i = 0; i < 3; ++i) EXPECT_EQ(ask(post.with(R"({"event": "call", "id": 7})")), 204);
  EXPECT_EQ(ask(post.with(R"({"event": "call", "id": 8})")), 204);
  EXPECT_THAT(told_.events(), ElementsAre("call", "call"));
}

TEST_F(WebHookTest, AFloodOfReportsIsToldSoAndMayBeSentAgain) {
  settings_.format.fields = ReportFields{.event = "/event", .id = "/id"};
  listen();
  WebClient device = client();
  const auto report = [](int id) {
    return Post{.type = "application/json"}.with(
        fmt::format(R"({{"event": "call", "id": {}}})", id));
  };
  int sent = 0;
  while (sent < 1000 && device.ask(report(sent)) == 204) ++sent;
  EXPECT_GE(sent, RateCap::at_once);
  EXPECT_LT(sent, 1000);
  EXPECT_TRUE(comes_true([&] { return device.ask(report(sent)) == 204; }));
  EXPECT_THAT(told_.events(), SizeIs(static_cast<std::size_t>(sent) + 1));
}

// Connections.

TEST_F(WebHookTest, AConnectionIsForManyRequests) {
  listen();
  WebClient device = client();
  EXPECT_EQ(device.ask(Post{}.with("call")), 204);
  EXPECT_EQ(
      device.ask(Post{}.head("Transfer-Encoding: chunked\r\n") + "2\r\nki\r\n2\r\nln\r\n0\r\n\r\n"),
      204);
  EXPECT_EQ(device.ask(Post{.method = "GET"}.with("")), 405);
  EXPECT_EQ(device.ask(Post{.token = "wrong"}.with("")), 401);
  EXPECT_EQ(device.ask(Post{}.with("help")), 204);
  EXPECT_EQ(device.ask(Post{.more = "Connection: close\r\n"}.with("shave")), 204);
  EXPECT_TRUE(device.is_closed());
  EXPECT_THAT(told_.events(), ElementsAre("call", "kiln", "help", "shave"));
}

TEST_F(WebHookTest, RequestsMayComeAllAtOnce) {
  listen();
  WebClient device = client();
  device.say(Post{}.with("call") + Post{.path = "/"}.with("") +
             Post{}.head("Transfer-Encoding: chunked\r\n") + "4\r\nkiln\r\n0\r\n\r\n" +
             Post{}.with("help"));
  EXPECT_EQ(device.status(), 204);
  EXPECT_EQ(device.status(), 404);
  EXPECT_EQ(device.status(), 204);
  EXPECT_EQ(device.status(), 204);
  EXPECT_THAT(told_.events(), ElementsAre("call", "kiln", "help"));
}

TEST_F(WebHookTest, RequestsMayComeByteByByte) {
  listen();
  WebClient device = client();
  for (const char c : Post{}.with("call") + Post{}.head("Transfer-Encoding: chunked\r\n") +
                          "4\r\nkiln\r\n0\r\n\r\n") {
    device.say({&c, 1});
  }
  EXPECT_EQ(device.status(), 204);
  EXPECT_EQ(device.status(), 204);
  EXPECT_THAT(told_.events(), ElementsAre("call", "kiln"));
}

TEST_F(WebHookTest, WhatFollowsTheLastRequestIsNotRead) {
  listen();
  WebClient device = client();
  device.say(Post{.more = "Connection: close\r\n"}.with("call") + Post{}.with("kiln"));
  EXPECT_EQ(device.status(), 204);
  EXPECT_TRUE(device.is_closed());
  EXPECT_THAT(told_.events(), ElementsAre("call"));
}

TEST_F(WebHookTest, OldClientsAreAnsweredAndLetGo) {
  listen();
  WebClient device = client();
  EXPECT_EQ(device.ask(fmt::format("POST /knock/panel HTTP/1.0\r\nAuthorization: Bearer {}\r\n"
                                   "Connection: keep-alive\r\nContent-Length: 4\r\n\r\ncall",
                                   right_token)),
            204);
  EXPECT_TRUE(device.is_closed());
  EXPECT_THAT(told_.events(), ElementsAre("call"));
}

TEST_F(WebHookTest, WhoAsksForLeaveGetsIt) {
  listen();
  WebClient device = client();
  const Post post{.more = "Expect: 100-continue\r\n"};
  EXPECT_EQ(device.ask(post.head("Content-Length: 4\r\n")), 100);
  EXPECT_EQ(device.ask("call"), 204);
  WebClient outsider = client();
  EXPECT_EQ(outsider.ask(Post{.token = "wrong", .more = post.more}.head("Content-Length: 4\r\n")),
            401);
  EXPECT_TRUE(outsider.is_closed());
  EXPECT_THAT(told_.events(), ElementsAre("call"));
}

TEST_F(WebHookTest, HalfARequestIsNone) {
  listen();
  const std::string whole = Post{}.with("call");
  for (const std::size_t length : {std::size_t{1}, whole.size() / 2, whole.size() - 1}) {
    WebClient device = client();
    device.say(std::string_view(whole).substr(0, length));
    device.end_saying();
    EXPECT_TRUE(device.is_closed());
  }
  EXPECT_THAT(told_.events(), IsEmpty());
  WebClient device = client();
  device.say(whole);
  device.end_saying();
  EXPECT_EQ(device.status(), 204);
}

TEST_F(WebHookTest, NothingIsHiddenInARequest) {
  listen();
  for (const Smuggling& smuggling : smugglings()) {
    WebClient outsider = client();
    outsider.say(smuggling.bytes);
    EXPECT_THAT(outsider.status(), AnyOf(400, 401, 404, 405, 411, 413, 415)) << smuggling.name;
    EXPECT_TRUE(outsider.is_closed()) << smuggling.name;
    EXPECT_THAT(told_.events(), IsEmpty()) << smuggling.name;
  }
  EXPECT_EQ(ask(Post{}.with("hidden")), 204);
  EXPECT_THAT(told_.events(), ElementsAre("hidden"));
}

// Time.

TEST_F(WebHookTest, AnArrivalLiesBetweenSendingAndHearing) {
  listen();
  WebClient device = client();
  for (int i = 0; i < 20; ++i) {
    const KernelInstant before = lines::kernel_now();
    EXPECT_EQ(device.ask(Post{}.with("call")), 204);
    const Report report = told_.reports().back();
    EXPECT_GE(report.at, before);
    EXPECT_LE(report.at, lines::kernel_now());
  }
}

TEST_F(WebHookTest, TheLastPieceOfARequestIsItsArrival) {
  listen();
  WebClient device = client();
  const std::string whole = Post{}.with("call");
  device.say(std::string_view(whole).substr(0, whole.size() - 1));
  lines::kernel_nap(20ms);
  const KernelInstant before = lines::kernel_now();
  EXPECT_EQ(device.ask(std::string_view(whole).substr(whole.size() - 1)), 204);
  EXPECT_GE(told_.reports().at(0).at, before);
}

TEST_F(WebHookTest, TheKernelStampsWhatIsReadLate) {
  server_ = std::make_shared<WebHookServer>("127.0.0.1", 0);
  if (!server_->has_kernel_stamps()) GTEST_SKIP() << "this kernel does not stamp what it receives";
  std::promise<void> end_of_work;
  std::shared_future<void> work = end_of_work.get_future();
  Hearers hearers = told_.hearers();
  hearers.report = [keep = hearers.report, work](const Report& report) {
    keep(report);
    if (report.event == "work") work.wait();
  };
  listener_ = std::make_unique<WebHookListener>("panel", settings_, hearers, server_);
  WebClient busy = client();
  WebClient late = client();
  EXPECT_EQ(late.ask(Post{}.with("first")), 204);
  busy.say(Post{}.with("work"));
  EXPECT_TRUE(comes_true([&] { return told_.events().back() == "work"; }));
  late.say(Post{}.with("late"));
  const KernelInstant sent = lines::kernel_now();
  lines::kernel_nap(50ms);
  end_of_work.set_value();
  EXPECT_EQ(late.status(), 204);
  EXPECT_LT(told_.reports().back().at, sent + 25ms);
  EXPECT_EQ(listener_->arrival_width(), stamp_width(true));
}

TEST_F(WebHookTest, EndsPromptlyWithConnectionsOpen) {
  listen();
  std::vector<WebClient> callers;
  const std::string whole = Post{}.with("call");
  for (std::size_t i = 0; i < 40; ++i) {
    callers.push_back(client());
    callers.back().say(std::string_view(whole).substr(0, whole.size() * i / 50));
  }
  callers.push_back(client());
  EXPECT_EQ(callers.back().ask(Post{}.head("Content-Length: 99999\r\n")), 413);
  const KernelInstant before = lines::kernel_now();
  listener_.reset();
  server_.reset();
  EXPECT_LT(lines::kernel_now() - before, 300ms);
  for (WebClient& caller : callers) EXPECT_TRUE(caller.is_closed());
}

TEST_F(WebHookTest, WhoHasEndedIsNotTold) {
  listen();
  WebClient device = client();
  EXPECT_EQ(device.ask(Post{}.with("call")), 204);
  listener_.reset();
  EXPECT_EQ(device.ask(Post{}.with("")), 404);
  listener_ = std::make_unique<WebHookListener>("panel", settings_, told_.hearers(), server_);
  EXPECT_EQ(ask(Post{}.with("kiln")), 204);
}

}  // namespace
}  // namespace plexor::rig
