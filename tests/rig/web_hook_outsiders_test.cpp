#include <fcntl.h>
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>

#include "rig/web_hook_bench.hpp"

// What outsiders may do without harm.

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

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
  {
    const NoFilesLeft scarcity;
    device.connect_to(server_->port());
    EXPECT_EQ(device.ask(Post{}.with("kiln")), 204);
    EXPECT_TRUE(outsider.is_closed());
    EXPECT_EQ(other_device.ask(Post{}.with("help")), 204);
    EXPECT_EQ(device.ask(Post{}.with("shave")), 204);
  }  // the sanitizers need descriptors to look at a matcher
  EXPECT_THAT(told_.states(), IsEmpty());
}

}  // namespace
}  // namespace plexor::rig
