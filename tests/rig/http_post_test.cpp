#include "rig/network/http_post.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <thread>

#include "base/error.hpp"
#include "lines/lines.hpp"
#include "rig/temporary_folder.hpp"

// Requests and answers by RFC 9110 and 9112.

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using ::testing::EndsWith;
using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

/// Waits on the loopback for one request and says this; an empty answer is none at all.
class OneAnswer {
 public:
  explicit OneAnswer(std::string answer) : answer_(std::move(answer)) {
    door_ = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    sockaddr_in own{};
    own.sin_family = AF_INET;
    own.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t length = sizeof own;
    bind(door_, reinterpret_cast<sockaddr*>(&own), sizeof own);
    listen(door_, 1);
    getsockname(door_, reinterpret_cast<sockaddr*>(&own), &length);
    port_ = ntohs(own.sin_port);
    thread_ = std::thread([this] { serve(); });
  }
  ~OneAnswer() {
    end();
    close(door_);
  }
  OneAnswer(const OneAnswer&) = delete;
  OneAnswer& operator=(const OneAnswer&) = delete;

  [[nodiscard]] PostSettings settings() const {
    return {"127.0.0.1", port_, "/runs?from=rig-1", {}};
  }
  /// What was asked; waits for its end.
  std::string request() {
    end();
    return request_;
  }

 private:
  void end() {
    shutdown(door_, SHUT_RDWR);
    if (thread_.joinable()) thread_.join();
  }
  void serve() {
    const int guest = accept(door_, nullptr, nullptr);
    if (guest < 0) return;
    pollfd news{guest, POLLIN, 0};
    char bytes[4096];
    while (!request_.ends_with("}") && poll(&news, 1, 5000) == 1) {
      const ssize_t count = recv(guest, bytes, sizeof bytes, 0);
      if (count <= 0) break;
      request_.append(bytes, static_cast<std::size_t>(count));
    }
    (void)!write(guest, answer_.data(), answer_.size());
    // Whoever gives no answer holds the line until the other side has had enough.
    if (answer_.empty()) poll(&news, 1, 5000);
    close(guest);
  }

  std::string answer_;
  int door_ = -1;
  std::uint16_t port_ = 0;
  std::string request_;
  std::thread thread_;
};

const std::string summary = R"({"overall":"pass"})";

TEST(HttpPost, SendsTheDocumentAndHearsThatItWasTaken) {
  OneAnswer server("HTTP/1.1 204 No Content\r\n\r\n");
  EXPECT_FALSE(post_json(server.settings(), summary, 5s));
  const std::string request = server.request();
  EXPECT_THAT(request, StartsWith("POST /runs?from=rig-1 HTTP/1.1\r\n"));
  EXPECT_THAT(request, HasSubstr("Content-Type: application/json\r\n"));
  EXPECT_THAT(request, HasSubstr("Content-Length: 18\r\n"));
  EXPECT_THAT(request, HasSubstr("Host: 127.0.0.1:"));
  EXPECT_THAT(request, Not(HasSubstr("Authorization")));
  EXPECT_THAT(request, EndsWith("\r\n\r\n" + summary));
}

TEST(HttpPost, ShowsItsTokenAndKeepsItOutOfMessages) {
  const auto folder = make_temporary_folder("post");
  const auto file = folder / "token";
  std::ofstream(file) << "open sesame\n";
  chmod(file.c_str(), 0600);
  OneAnswer server("HTTP/1.1 401 Unauthorized\r\nContent-Length: 0\r\n\r\n");
  PostSettings to = server.settings();
  to.token = SecretPlace{.file = file.string()};
  const auto trouble = post_json(to, summary, 5s);
  ASSERT_TRUE(trouble);
  EXPECT_EQ(trouble->why, "it answered 401 Unauthorized");
  EXPECT_TRUE(trouble->is_refused);
  EXPECT_THAT(server.request(), HasSubstr("Authorization: Bearer open sesame\r\n"));
  chmod(file.c_str(), 0644);
  EXPECT_THROW((void)post_json(to, summary, 5s), base::InputError) << "others can read it";
  std::filesystem::remove_all(folder);
}

TEST(HttpPost, FollowsNobodyElsewhere) {
  OneAnswer server("HTTP/1.1 302 Found\r\nLocation: http://elsewhere/\r\n\r\n");
  EXPECT_EQ(post_json(server.settings(), summary, 5s)->why, "it answered 302 Found");
}

TEST(HttpPost, WaitsNoLongerThanItMay) {
  OneAnswer silent("");
  const auto began = lines::kernel_now();
  const auto trouble = post_json(silent.settings(), summary, 300ms);
  EXPECT_LT(lines::kernel_now() - began, 2s);
  ASSERT_TRUE(trouble);
  EXPECT_EQ(trouble->why, "no answer in time");
  EXPECT_FALSE(trouble->is_refused) << "it may be tried again";
}

TEST(HttpPost, SaysThatNobodyIsThere) {
  PostSettings nowhere;
  {
    const OneAnswer gone("");
    nowhere = gone.settings();
  }
  const auto trouble = post_json(nowhere, summary, 5s);
  ASSERT_TRUE(trouble);
  EXPECT_THAT(trouble->why, HasSubstr("refused"));
  EXPECT_FALSE(trouble->is_refused);
}

TEST(HttpPost, IsNotFooledByWhatIsNoHttp) {
  OneAnswer server("220 mail.workshop ESMTP\r\n");
  EXPECT_TRUE(post_json(server.settings(), summary, 5s));
}

}  // namespace
}  // namespace plexor::rig
