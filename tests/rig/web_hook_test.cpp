#include <fcntl.h>
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/stat.h>

#include <filesystem>
#include <fstream>
#include <future>
#include <optional>

#include "base/error.hpp"
#include "rig/check_listener.hpp"
#include "rig/listener.hpp"
#include "rig/network/receive_stamp.hpp"
#include "rig/network/web_hook_listener.hpp"
#include "rig/rate_cap.hpp"
#include "rig/told.hpp"
#include "rig/web_client.hpp"
#include "rig/web_requests.hpp"

// Devices and outsiders that call over the loopback.

namespace plexor::rig {
namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;
using lines::KernelInstant;
using ::testing::AllOf;
using ::testing::AnyOf;
using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;
using ::testing::SizeIs;
using ::testing::StartsWith;

class WebHookTest : public ::testing::Test {
 protected:
  WebHookTest() : folder_(make_folder()) {
    write_token("token", std::string(right_token) + "\n");
    settings_.path = "/knock/panel";
    settings_.token.file = file("token");
  }
  ~WebHookTest() override {
    listener_.reset();
    other_.reset();
    server_.reset();
    fs::remove_all(folder_);
  }

  static fs::path make_folder() {
    std::string name = (fs::temp_directory_path() / "plexor-hook-XXXXXX").string();
    if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder");
    return name;
  }
  [[nodiscard]] std::string file(const std::string& name) const {
    return (folder_ / name).string();
  }
  void write_token(const std::string& name, const std::string& text) const {
    std::ofstream(file(name)) << text;
    chmod(file(name).c_str(), 0600);
  }

  void listen(const std::string& host = "127.0.0.1") {
    server_ = std::make_shared<WebHookServer>(host, 0, limits_);
    listener_ = std::make_unique<WebHookListener>("panel", settings_, told_.hearers(), server_);
  }
  void listen_to_other(const WebHookSettings& settings) {
    other_ = std::make_unique<WebHookListener>("shelf", settings, other_told_.hearers(), server_);
  }
  [[nodiscard]] WebClient client() const { return WebClient(server_->port()); }
  int ask(std::string_view bytes) { return client().ask(bytes); }
  std::string answer_to(std::string_view bytes) {
    WebClient caller = client();
    caller.say(bytes);
    return caller.answer();
  }

  fs::path folder_;
  WebHookLimits limits_;
  WebHookSettings settings_;
  Told told_;
  Told other_told_;
  std::shared_ptr<WebHookServer> server_;
  std::unique_ptr<WebHookListener> listener_;
  std::unique_ptr<WebHookListener> other_;
};

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

// Outsiders.

std::int64_t most_memory_kib() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return usage.ru_maxrss;
}

/// Says so much of a body as the other side takes, up to 1 GB.
std::size_t pour(const WebClient& outsider, const std::string& piece) {
  constexpr std::size_t all = 1 << 30;
  std::size_t poured = 0;
  while (poured < all && outsider.say(piece)) poured += piece.size();
  return poured;
}

TEST_F(WebHookTest, AHugeBodyIsRefusedBeforeItComes) {
  listen();
  const std::int64_t before = most_memory_kib();
  const std::string piece(65'536, 'a');
  const std::vector<std::pair<std::string, std::string>> bodies = {
      {"Content-Length: 1073741824\r\n", piece},
      {"Transfer-Encoding: chunked\r\n",
       fmt::format("{:x}\r\n{}\r\n", piece.size() / 8, piece.substr(0, piece.size() / 8))}};
  for (const auto& [length, pieces] : bodies) {
    WebClient outsider = client();
    outsider.say(Post{}.head(length));
    const std::size_t poured = pour(outsider, pieces);
    EXPECT_LT(poured, std::size_t{32} << 20) << length;
    EXPECT_EQ(outsider.status(), 413) << length;
    EXPECT_TRUE(outsider.is_closed());
  }
  EXPECT_EQ(ask(Post{}.head("Transfer-Encoding: chunked\r\n") + "40000000\r\n"), 413);
  EXPECT_LT(most_memory_kib() - before, 16 << 10);
  EXPECT_THAT(told_.events(), IsEmpty());
}

TEST_F(WebHookTest, ALineOfAChunkDoesNotGrow) {
  listen();
  WebClient outsider = client();
  outsider.say(Post{}.head("Transfer-Encoding: chunked\r\n"));
  pour(outsider, std::string(4096, '0'));
  EXPECT_EQ(outsider.status(), 400);
  EXPECT_TRUE(outsider.is_closed());
}

TEST_F(WebHookTest, WhoIsSlowIsSentAway) {
  limits_.request = 60ms;
  listen();
  const std::string whole = Post{}.with("call");
  for (const std::size_t first : {std::size_t{4}, whole.size() - 4}) {
    WebClient outsider = client();
    outsider.say(std::string_view(whole).substr(0, first));
    for (std::size_t i = first; i + 1 < whole.size() && !outsider.has_news(); ++i) {
      outsider.say(std::string_view(whole).substr(i, 1));
      lines::kernel_nap(i + 4 < whole.size() ? 10ms : 100ms);
    }
    EXPECT_EQ(outsider.status(), 408);
    EXPECT_TRUE(outsider.is_closed());
  }
  EXPECT_THAT(told_.events(), IsEmpty());
}

TEST_F(WebHookTest, ADeviceMayBeSilentBetweenRequests) {
  limits_.request = 20ms;
  listen();
  WebClient device = client();
  for (int i = 0; i < 2; ++i) {
    lines::kernel_nap(50ms);
    EXPECT_EQ(device.ask(Post{}.with("call")), 204);
  }
}

TEST_F(WebHookTest, WhoIsSilentIsSentAway) {
  limits_.idle = 50ms;
  limits_.request = 60s;
  listen();
  WebClient outsider = client();
  EXPECT_TRUE(outsider.is_closed());
  WebClient device = client();
  EXPECT_EQ(device.ask(Post{}.with("call")), 204);
  EXPECT_TRUE(device.is_closed());
}

TEST_F(WebHookTest, WhoIsRefusedMaySayTheRestButNotForLong) {
  listen();
  WebClient outsider = client();
  EXPECT_EQ(outsider.ask(Post{.token = "wrong"}.head("Content-Length: 50000\r\n")), 401);
  for (int i = 0; i < 3; ++i) {
    EXPECT_TRUE(outsider.say(std::string(1000, 'a')));  // else the answer might be lost
    lines::kernel_nap(2ms);
  }
  const KernelInstant before = lines::kernel_now();
  EXPECT_TRUE(comes_true([&] { return !outsider.say("a"); }));
  EXPECT_LT(lines::kernel_now() - before, 3s);
  EXPECT_TRUE(outsider.is_closed());
}

TEST_F(WebHookTest, WhoDoesNotReadAnswersIsSentAway) {
  limits_.request = 50ms;
  listen();
  WebClient outsider = WebClient::unconnected();
  outsider.keep_little();
  outsider.connect_to(server_->port());
  std::string many;
  while (many.size() < 60'000) many += Post{.method = "GET"}.with("");
  const std::size_t poured = pour(outsider, many);
  EXPECT_LT(poured, std::size_t{1} << 30);
}

void allow_files(rlim_t number) {
  rlimit limit{};
  getrlimit(RLIMIT_NOFILE, &limit);
  if (limit.rlim_cur >= number) return;
  limit.rlim_cur = std::min(number, limit.rlim_max);
  setrlimit(RLIMIT_NOFILE, &limit);
}

TEST_F(WebHookTest, ADeviceGetsThroughAThousandOutsiders) {
  allow_files(2200);
  listen();
  WebClient old_device = client();
  EXPECT_EQ(old_device.ask(Post{}.with("call")), 204);
  std::vector<WebClient> crowd;
  for (int i = 0; i < 1000; ++i) {
    crowd.push_back(client());
    if (i % 2 == 0) crowd.back().say("POST /knock/panel HTTP/1.1\r\n");
  }
  EXPECT_EQ(ask(Post{}.with("kiln")), 204);
  EXPECT_EQ(old_device.ask(Post{}.with("help")), 204);
  EXPECT_THAT(told_.events(), ElementsAre("call", "kiln", "help"));
  const auto outside = std::count_if(crowd.begin(), crowd.end(),
                                     [](const WebClient& one) { return one.has_news(); });
  EXPECT_GE(outside, 1000 - static_cast<std::ptrdiff_t>(limits_.connections));
  EXPECT_LT(outside, 1000);
}

TEST_F(WebHookTest, DevicesThatHaveShownTheirTokenAreNotSentAway) {
  limits_.connections = 2;
  listen();
  WebClient one = client();
  WebClient two = client();
  EXPECT_EQ(one.ask(Post{}.with("call")), 204);
  EXPECT_EQ(two.ask(Post{}.with("call")), 204);
  WebClient three = client();
  EXPECT_TRUE(three.is_closed());
  EXPECT_EQ(one.ask(Post{}.with("kiln")), 204);
  EXPECT_EQ(two.ask(Post{}.with("kiln")), 204);
}

/// No file more can be opened.
class NoFilesLeft {
 public:
  NoFilesLeft() {
    getrlimit(RLIMIT_NOFILE, &before_);
    const rlimit few{200, before_.rlim_max};
    setrlimit(RLIMIT_NOFILE, &few);
    for (int file = 0; file >= 0;) {
      file = open("/dev/null", O_RDONLY | O_CLOEXEC);
      if (file >= 0) taken_.push_back(file);
    }
  }
  ~NoFilesLeft() {
    for (const int file : taken_) close(file);
    setrlimit(RLIMIT_NOFILE, &before_);
  }
  NoFilesLeft(const NoFilesLeft&) = delete;
  NoFilesLeft& operator=(const NoFilesLeft&) = delete;

 private:
  rlimit before_{};
  std::vector<int> taken_;
};

base::Duration processor_time() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return std::chrono::seconds{usage.ru_utime.tv_sec + usage.ru_stime.tv_sec} +
         std::chrono::microseconds{usage.ru_utime.tv_usec + usage.ru_stime.tv_usec};
}

TEST_F(WebHookTest, WithoutDescriptorsItWaitsAndSaysSo) {
  listen();
  WebClient device = WebClient::unconnected();
  {
    const NoFilesLeft scarcity;
    device.connect_to(server_->port());
    EXPECT_TRUE(comes_true([&] { return told_.states() == std::vector{false}; }));
    const base::Duration before = processor_time();
    lines::kernel_nap(250ms);
    EXPECT_LT(processor_time() - before, 100ms);
  }
  EXPECT_EQ(device.ask(Post{}.with("call")), 204);
  EXPECT_THAT(told_.states(), ElementsAre(false, true));
  EXPECT_THAT(told_.remarks(), ElementsAre(HasSubstr("ulimit -n")));
}

TEST_F(WebHookTest, WithoutDescriptorsOutsidersGoFirst) {
  listen();
  WebClient outsider = client();
  WebClient device = WebClient::unconnected();
  outsider.say("POST");
  WebClient other_device = client();
  EXPECT_EQ(other_device.ask(Post{}.with("call")), 204);  // so that the outsider is in
  const NoFilesLeft scarcity;
  device.connect_to(server_->port());
  EXPECT_EQ(device.ask(Post{}.with("kiln")), 204);
  EXPECT_TRUE(outsider.is_closed());
  EXPECT_EQ(other_device.ask(Post{}.with("help")), 204);
  EXPECT_EQ(device.ask(Post{}.with("shave")), 204);
  EXPECT_THAT(told_.states(), IsEmpty());
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

// In a rig.

class WebHookOfARigTest : public WebHookTest {
 protected:
  /// A port that was free a moment ago.
  static std::uint16_t free_port() { return WebHookServer("127.0.0.1", 0).port(); }
  Device device(const std::string& name, const std::string& path) {
    settings_.host = "127.0.0.1";
    settings_.port = port_;
    settings_.path = path;
    Device device;
    device.name = name;
    device.listeners = {{"web-hook", settings_}};
    return device;
  }
  static std::vector<std::string> found(const std::vector<Finding>& findings) {
    std::vector<std::string> texts;
    for (const Finding& finding : findings) {
      const std::string state = finding.state == Finding::State::good      ? "good"
                                : finding.state == Finding::State::warning ? "warning"
                                                                           : "bad";
      texts.push_back(state + " " + finding.subject + ": " + finding.found);
    }
    return texts;
  }

  std::uint16_t port_ = free_port();
};

TEST_F(WebHookOfARigTest, DevicesShareAnAddress) {
  Listening listening;
  const Device panel = device("panel", "/panel");
  const Device shelf = device("shelf", "/shelf");
  auto one = listening.listen(panel, panel.listeners[0], told_.hearers());
  auto other = listening.listen(shelf, shelf.listeners[0], other_told_.hearers());
  EXPECT_EQ(WebClient(port_).ask(Post{.path = "/panel"}.with("call")), 204);
  EXPECT_EQ(WebClient(port_).ask(Post{.path = "/shelf"}.with("kiln")), 204);
  one.reset();
  EXPECT_EQ(WebClient(port_).ask(Post{.path = "/shelf"}.with("help")), 204);
  EXPECT_THAT(told_.events(), ElementsAre("call"));
  EXPECT_THAT(other_told_.events(), ElementsAre("kiln", "help"));
  other.reset();
  one = listening.listen(panel, panel.listeners[0], told_.hearers());
  EXPECT_EQ(WebClient(port_).ask(Post{.path = "/panel"}.with("shave")), 204);
}

TEST_F(WebHookOfARigTest, AnAddressThatIsTakenIsAFaultWithARemedy) {
  const WebHookServer holder("127.0.0.1", port_);
  try {
    const WebHookServer second("127.0.0.1", port_);
    FAIL() << "two at one port";
  } catch (const base::RigFault& fault) {
    EXPECT_THAT(fault.what(), AllOf(HasSubstr(std::to_string(port_)), HasSubstr("ss -ltnp")));
  }
  try {
    const WebHookServer elsewhere("192.0.2.1", port_);
    FAIL() << "an address of somebody else";
  } catch (const base::RigFault& fault) {
    EXPECT_THAT(fault.what(), AllOf(HasSubstr("192.0.2.1"), HasSubstr("ip address")));
  }
}

TEST_F(WebHookOfARigTest, TheCheckSaysWhereToSend) {
  const Device panel = device("panel", "/panel");
  EXPECT_THAT(found(check_listeners(panel)),
              ElementsAre(AllOf(StartsWith("good web hook of \"panel\""),
                                HasSubstr(fmt::format("http://127.0.0.1:{}/panel", port_)),
                                HasSubstr("from any address"))));
}

TEST_F(WebHookOfARigTest, TheCheckWarnsBeyondTheLoopback) {
  Device panel = device("panel", "/panel");
  auto& hook = std::get<WebHookSettings>(panel.listeners[0].way);
  hook.host = "0.0.0.0";
  EXPECT_THAT(found(check_listeners(panel)),
              ElementsAre(HasSubstr("http://ADDRESS-OF-THIS-COMPUTER"),
                          AllOf(StartsWith("warning token of \"panel\""), HasSubstr("unencrypted"),
                                HasSubstr("does not say who may send"))));
  hook.peers = {"192.168.7.20"};
  EXPECT_THAT(found(check_listeners(panel)),
              ElementsAre(HasSubstr("only from 192.168.7.20"),
                          AllOf(HasSubstr("unencrypted"), Not(HasSubstr("who may send")))));
}

TEST_F(WebHookOfARigTest, TheCheckFindsWhatIsTakenAndWhatIsNoSecret) {
  const Device panel = device("panel", "/panel");
  {
    const WebHookServer holder("127.0.0.1", port_);
    EXPECT_THAT(found(check_listeners(panel)),
                ElementsAre(AllOf(StartsWith("bad"), HasSubstr("ss -ltnp"))));
  }
  chmod(file("token").c_str(), 0644);
  EXPECT_THAT(found(check_listeners(panel)),
              ElementsAre(AllOf(StartsWith("bad"), HasSubstr("644"))));
  write_token("token", "two words\n");
  EXPECT_THAT(found(check_listeners(panel)),
              ElementsAre(AllOf(StartsWith("bad"), HasSubstr("no request can carry"),
                                Not(HasSubstr("two words")))));
}

}  // namespace
}  // namespace plexor::rig
