#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <memory>
#include <tuple>

#include "rig/listener.hpp"
#include "rig/told.hpp"
#include "virtual/voices/voices.hpp"

// What a simulated device says over a socket is heard by the listener that it was made for.

namespace plexor::virtual_rig {
namespace {

using namespace std::chrono_literals;
using rig::Framing;
using rig::Transport;

/// Of each test process another one, because they run side by side.
std::uint16_t own_port() { return static_cast<std::uint16_t>(20'000 + getpid() % 12'000); }

struct How {
  Transport transport;
  bool serves;
  Framing framing;
};

class SocketVoice : public ::testing::TestWithParam<How> {
 protected:
  SocketVoice() {
    const How how = GetParam();
    settings_ = {.transport = how.transport,
                 .serves = how.serves,
                 .host = "127.0.0.1",
                 .port = own_port(),
                 .framing = how.framing,
                 .hello = how.serves ? "" : "listen\n"};
    if (how.serves) settings_.peers = {"127.0.0.1"};
    device_.name = "panel";
    device_.listeners = {{"socket", settings_}};
  }

  /// Until it is so, the voice lives on, and says the event again now and then.
  template <typename What>
  bool speaks_until(Voice& voice, const std::string& event, What what) {
    lines::KernelInstant next;
    return rig::comes_true([&] {
      const lines::KernelInstant now = lines::kernel_now();
      if (now >= next) {
        base::Event reported;
        reported.name = event;
        voice.report(reported, now);
        next = now + 50ms;
      }
      voice.live(now);
      return what();
    });
  }

  rig::SocketSettings settings_;
  rig::Device device_;
  rig::Told told_;
};

TEST_P(SocketVoice, IsHeardAlsoAfterItsCableWasOut) {
  const auto voice = make_socket_voice({"panel", 0, {}, {}}, settings_);
  rig::Listening listening;
  const auto listener = listening.listen(device_, device_.listeners[0], told_.hearers());
  EXPECT_TRUE(speaks_until(*voice, "call", [this] { return !told_.events().empty(); }))
      << told_.all_remarks();
  EXPECT_EQ(told_.events().front(), "call");
  voice->unplug();
  voice->plug_in();
  EXPECT_TRUE(speaks_until(*voice, "kiln", [this] { return told_.events().back() == "kiln"; }))
      << told_.all_remarks();
}

std::string name_of(const ::testing::TestParamInfo<How>& info) {
  const How& how = info.param;
  return std::string(how.transport == Transport::tcp ? "tcp" : "udp") +
         (how.serves ? "_to_a_server" : "_to_a_client") +
         (how.framing == Framing::syslog ? "_syslog" : "_lines");
}

INSTANTIATE_TEST_SUITE_P(, SocketVoice,
                         ::testing::Values(How{Transport::tcp, true, Framing::lines},
                                           How{Transport::tcp, true, Framing::syslog},
                                           How{Transport::tcp, false, Framing::lines},
                                           How{Transport::udp, true, Framing::syslog},
                                           How{Transport::udp, true, Framing::lines},
                                           How{Transport::udp, false, Framing::lines}),
                         name_of);

}  // namespace
}  // namespace plexor::virtual_rig
