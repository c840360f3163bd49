#include "rig/broker.hpp"

#include <arpa/inet.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <netinet/in.h>
#include <signal.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cstdlib>
#include <fstream>
#include <stdexcept>

#include "rig/network/reach.hpp"
#include "rig/temporary_folder.hpp"
#include "rig/told.hpp"

namespace plexor::rig {

namespace {

namespace fs = std::filesystem;

/// A socket with a port of its own. As long as it is there the kernel gives the port to nobody that
/// did not ask for it; a broker can listen there all the same.
int keep_port() {
  const int socket_there = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  const int yes = 1;
  setsockopt(socket_there, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  bind(socket_there, reinterpret_cast<sockaddr*>(&address), sizeof address);
  return socket_there;
}

std::uint16_t port_of(int socket_there) {
  sockaddr_in address{};
  socklen_t length = sizeof address;
  getsockname(socket_there, reinterpret_cast<sockaddr*>(&address), &length);
  return ntohs(address.sin_port);
}

void run_in(const fs::path& folder, const std::string& commands) {
  const std::string all = fmt::format("cd {} && ({}) >/dev/null 2>&1", folder.string(), commands);
  if (std::system(all.c_str()) != 0) throw std::runtime_error("can't run: " + commands);
}

constexpr const char* make_certificates =
    "printf 'subjectAltName=IP:127.0.0.1,DNS:localhost' >names && "
    "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -keyout ca.key "
    "-out ca.crt -days 30 -subj '/CN=workshop' && "
    "openssl req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -keyout broker.key "
    "-out broker.csr -subj /CN=localhost && "
    "openssl x509 -req -in broker.csr -CA ca.crt -CAkey ca.key -CAcreateserial -days {} "
    "-extfile names -out broker.crt";

}  // namespace

TestBroker::TestBroker(Door door)
    : folder_(make_temporary_folder("broker")),
      door_(door),
      kept_(keep_port()),
      port_(port_of(kept_)) {
  const bool is_open = door == Door::open;
  const bool is_tls = door == Door::tls || door == Door::expired;
  std::string setting = fmt::format("listener {} 127.0.0.1\nallow_anonymous {}\nuser root\n", port_,
                                    is_open ? "true" : "false");
  if (!is_open) {
    run_in(folder_, fmt::format("mosquitto_passwd -b -c users panel {}", password));
    setting += fmt::format("password_file {}\n", file("users"));
    write("password", password);
  }
  if (is_tls) {
    run_in(folder_, fmt::format(fmt::runtime(make_certificates), door == Door::expired ? -1 : 30));
    setting += fmt::format("cafile {}\ncertfile {}\nkeyfile {}\n", file("ca.crt"),
                           file("broker.crt"), file("broker.key"));
  }
  write("setting", setting);
  start();
}

TestBroker::~TestBroker() {
  stop();
  close(kept_);
  fs::remove_all(folder_);
}

void TestBroker::start() {
  pid_ = fork();
  if (pid_ == 0) {
    const int nowhere = open("/dev/null", O_WRONLY);
    dup2(nowhere, STDOUT_FILENO);
    dup2(nowhere, STDERR_FILENO);
    execlp("mosquitto", "mosquitto", "-c", file("setting").c_str(), nullptr);
    _exit(127);
  }
  const auto is_there = [this] {
    return reach("127.0.0.1", port_, Addresses::any, std::chrono::seconds{1}).complaint.empty();
  };
  if (!comes_true(is_there)) throw std::runtime_error("mosquitto does not start");
}

void TestBroker::stop() {
  if (pid_ <= 0) return;
  kill(pid_, SIGKILL);
  waitpid(pid_, nullptr, 0);
  pid_ = -1;
}

void TestBroker::pause() { kill(pid_, SIGSTOP); }

void TestBroker::go_on() { kill(pid_, SIGCONT); }

BrokerSettings TestBroker::settings() const {
  BrokerSettings broker{.host = "127.0.0.1", .port = port_};
  if (door_ != Door::open) {
    broker.user = "panel";
    broker.password = SecretPlace{.file = file("password")};
  }
  if (door_ == Door::tls || door_ == Door::expired) broker.tls = TlsSettings{file("ca.crt")};
  return broker;
}

void TestBroker::write(const std::string& name, const std::string& text) const {
  std::ofstream(file(name)) << text;
  chmod(file(name).c_str(), S_IRUSR | S_IWUSR);
}

}  // namespace plexor::rig
