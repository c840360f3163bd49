#include <netdb.h>
#include <netinet/in.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cstring>

#include "rig/socket_bench.hpp"

namespace plexor::rig {
std::atomic<bool> names_are_slow = false;
}

/// The system's look-up, as slow as a test wants it: of "far.invalid", half a minute as from a
/// name server that is gone. "panel.workshop" is at 127.0.0.1 and 127.0.0.2.
extern "C" int getaddrinfo(const char* node, const char*, const addrinfo*, addrinfo** result) {
  static std::array<sockaddr_in, 2> addresses{};
  static std::array<addrinfo, 2> entries{};
  if (std::strcmp(node, "panel.workshop") != 0) {
    while (plexor::rig::names_are_slow) usleep(1000);
    return EAI_NONAME;
  }
  for (std::uint32_t i = 0; i < 2; ++i) {
    addresses[i].sin_family = AF_INET;
    addresses[i].sin_addr.s_addr = htonl(INADDR_LOOPBACK + i);
    entries[i].ai_family = AF_INET;
    entries[i].ai_socktype = SOCK_STREAM;
    entries[i].ai_addr = reinterpret_cast<sockaddr*>(&addresses[i]);
    entries[i].ai_addrlen = sizeof addresses[i];
  }
  entries[0].ai_next = &entries[1];
  *result = entries.data();
  return 0;
}
extern "C" void freeaddrinfo(addrinfo*) {}
