#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/error.hpp"
#include "rig/check_listener.hpp"
#include "rig/listener.hpp"
#include "rig/web_hook_bench.hpp"

// Web hooks as a rig file has them: several, shared and checked.

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;
using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

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
