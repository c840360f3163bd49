#include "rig/serial_port.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <fmt/ranges.h>
#include <grp.h>
#include <libserialport.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <fstream>
#include <set>
#include <sstream>
#include <system_error>
#include <utility>

#include "lines/lines.hpp"

namespace plexor::rig {

namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;

std::string reason_of(int error) { return std::generic_category().message(error); }

struct FreePort {
  void operator()(sp_port* port) const { sp_free_port(port); }
};
using KnownPort = std::unique_ptr<sp_port, FreePort>;

/// A descriptor that is closed with its owner.
class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  ~Descriptor() {
    if (number_ >= 0) close(number_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  [[nodiscard]] int number() const { return number_; }
  [[nodiscard]] int release() { return std::exchange(number_, -1); }

 private:
  int number_;
};

std::vector<KnownPort> known_ports() {
  sp_port** list = nullptr;
  std::vector<KnownPort> ports;
  if (sp_list_ports(&list) != SP_OK) return ports;
  for (sp_port** port = list; *port != nullptr; ++port) {
    sp_port* copy = nullptr;
    if (sp_copy_port(*port, &copy) == SP_OK) ports.emplace_back(copy);
  }
  sp_free_port_list(list);
  return ports;
}

std::optional<UsbIdentity> usb_of(const sp_port* port) {
  int vendor = 0;
  int product = 0;
  if (sp_get_port_transport(port) != SP_TRANSPORT_USB ||
      sp_get_port_usb_vid_pid(port, &vendor, &product) != SP_OK) {
    return std::nullopt;
  }
  const char* serial = sp_get_port_usb_serial(port);
  return UsbIdentity{static_cast<std::uint16_t>(vendor), static_cast<std::uint16_t>(product),
                     serial == nullptr ? "" : serial};
}

std::string text_of(const UsbIdentity& usb) {
  return fmt::format("{:04x}:{:04x}{}{}", usb.vendor, usb.product, usb.serial.empty() ? "" : ":",
                     usb.serial);
}

bool is_wanted(const UsbIdentity& wanted, const sp_port* port) {
  const auto usb = usb_of(port);
  return usb && usb->vendor == wanted.vendor && usb->product == wanted.product &&
         (wanted.serial.empty() || usb->serial == wanted.serial);
}

std::string list_for_people() {
  const std::vector<std::string> ports = ports_here();
  return ports.empty() ? "this computer has no serial port now"
                       : fmt::format("serial ports here: {}", fmt::join(ports, ", "));
}

/// The path of the one port with this identity.
std::string find(const UsbIdentity& wanted) {
  std::vector<std::string> found;
  for (const KnownPort& port : known_ports()) {
    if (is_wanted(wanted, port.get())) found.emplace_back(sp_get_port_name(port.get()));
  }
  if (found.empty()) {
    throw PortFault(text_of(wanted), "nothing with this USB identity is plugged in",
                    "check the cable and \"usb\" in the rig file; " + list_for_people());
  }
  if (found.size() > 1) {
    throw PortFault(text_of(wanted), fmt::format("{} have this identity", fmt::join(found, ", ")),
                    "add the serial number to \"usb\", or give a \"port\"");
  }
  return found.front();
}

std::string group_of(const struct stat& status) {
  std::array<char, 4096> space{};
  group entry{};
  group* found = nullptr;
  getgrgid_r(status.st_gid, &entry, space.data(), space.size(), &found);
  return found == nullptr ? std::to_string(status.st_gid) : std::string(found->gr_name);
}

std::string udev_match(const std::string& path) {
  const fs::path name = fs::path(path).filename();
  sp_port* port = nullptr;
  if (sp_get_port_by_name(path.c_str(), &port) == SP_OK) {
    const KnownPort known(port);
    if (const auto usb = usb_of(port)) {
      return fmt::format(R"(ATTRS{{idVendor}}=="{:04x}", ATTRS{{idProduct}}=="{:04x}")",
                         usb->vendor, usb->product);
    }
  }
  return fmt::format(R"(KERNEL=="{}")", name.string());
}

[[noreturn]] void refuse_permission(const std::string& path) {
  struct stat status {};
  stat(path.c_str(), &status);
  const std::string group = group_of(status);
  throw PortFault(
      path, fmt::format("no permission; it belongs to the group \"{}\"", group),
      fmt::format("join the group (sudo usermod -aG {} $USER, then log in anew), or put this line "
                  "into /etc/udev/rules.d/70-plexor.rules and plug it in again: "
                  "SUBSYSTEM==\"tty\", {}, MODE=\"0660\", GROUP=\"{}\"",
                  group, udev_match(path), group));
}

[[noreturn]] void refuse_busy(const std::string& path) {
  const std::vector<std::string> holders = holders_of(path);
  throw PortFault(path,
                  holders.empty() ? "busy: held by a process of another user"
                                  : fmt::format("busy: held by {}", fmt::join(holders, ", ")),
                  "end that program");
}

[[noreturn]] void refuse(const std::string& path, int error) {
  if (error == EACCES || error == EPERM) refuse_permission(path);
  if (error == EBUSY || error == EWOULDBLOCK) refuse_busy(path);
  if (error == ENOENT || error == ENODEV || error == ENXIO || error == EIO) {
    throw PortFault(path, reason_of(error),
                    "check the cable and \"port\" in the rig file; " + list_for_people());
  }
  throw PortFault(
      path, error == ENOTTY ? "this is no serial port nor another terminal" : reason_of(error),
      "check \"port\" in the rig file");
}

speed_t nearest_speed(std::int32_t baud) {
  static constexpr std::array<std::pair<std::int32_t, speed_t>, 15> speeds{{{300, B300},
                                                                            {600, B600},
                                                                            {1200, B1200},
                                                                            {2400, B2400},
                                                                            {4800, B4800},
                                                                            {9600, B9600},
                                                                            {19200, B19200},
                                                                            {38400, B38400},
                                                                            {57600, B57600},
                                                                            {115200, B115200},
                                                                            {230400, B230400},
                                                                            {460800, B460800},
                                                                            {921600, B921600},
                                                                            {1000000, B1000000},
                                                                            {2000000, B2000000}}};
  const auto* found = std::find_if(speeds.begin(), speeds.end(),
                                   [baud](const auto& speed) { return speed.first == baud; });
  return found == speeds.end() ? B115200 : found->second;
}

/// What libserialport does not know, a pseudo-terminal or a tunnel, has no wire to be set up.
void make_raw(int descriptor, std::int32_t baud) {
  termios settings{};
  tcgetattr(descriptor, &settings);
  cfmakeraw(&settings);
  cfsetspeed(&settings, nearest_speed(baud));
  tcsetattr(descriptor, TCSANOW, &settings);
}

void require(sp_return done, const std::string& path, const std::string& key) {
  if (done == SP_OK) return;
  throw PortFault(path, fmt::format("it can't have the \"{}\" of the rig file", key),
                  "give one that both ends know");
}

void set_up(sp_port* port, const SerialSettings& settings, const std::string& path) {
  const sp_parity parity = settings.parity == Parity::none   ? SP_PARITY_NONE
                           : settings.parity == Parity::even ? SP_PARITY_EVEN
                                                             : SP_PARITY_ODD;
  const sp_flowcontrol flow = settings.flow == FlowControl::none      ? SP_FLOWCONTROL_NONE
                              : settings.flow == FlowControl::rts_cts ? SP_FLOWCONTROL_RTSCTS
                                                                      : SP_FLOWCONTROL_XONXOFF;
  require(sp_set_baudrate(port, settings.baud), path, "baud");
  require(sp_set_bits(port, settings.data_bits), path, "data_bits");
  require(sp_set_parity(port, parity), path, "parity");
  require(sp_set_stopbits(port, settings.stop_bits), path, "stop_bits");
  require(sp_set_flowcontrol(port, flow), path, "flow");
}

/// Where libserialport 0.1.1 sets a port otherwise: it has an empty port read as one that has hung
/// up, and puts the flag of flow control by wires among those of input.
void correct(int descriptor, FlowControl flow) {
  termios settings{};
  tcgetattr(descriptor, &settings);
  settings.c_cc[VMIN] = 1;
  settings.c_iflag &= ~CRTSCTS;
  settings.c_cflag &= ~CRTSCTS;
  if (flow == FlowControl::rts_cts) settings.c_cflag |= CRTSCTS;
  tcsetattr(descriptor, TCSANOW, &settings);
}

/// Two that read one port would each hear half.
void claim(int descriptor, const std::string& path) {
  if (flock(descriptor, LOCK_EX | LOCK_NB) != 0) refuse(path, errno);
  ioctl(descriptor, TIOCEXCL);
}

bool is_pseudo_terminal(const struct stat& status) {
  constexpr unsigned first_major = 136;  // Linux: Documentation/admin-guide/devices.txt
  constexpr unsigned last_major = 143;
  const unsigned number = major(status.st_rdev);
  return number >= first_major && number <= last_major;
}

std::string name_of_process(const std::string& id) {
  std::string name;
  std::getline(std::ifstream("/proc/" + id + "/comm"), name);
  return fmt::format("{} (process {})", name.empty() ? "a program" : name, id);
}

/// Who holds a lock on the file: the kernel lists them by device and inode.
std::set<std::string> lockers_of(const struct stat& status) {
  const std::string wanted =
      fmt::format("{:02x}:{:02x}:{}", major(status.st_dev), minor(status.st_dev), status.st_ino);
  std::set<std::string> ids;
  std::ifstream locks("/proc/locks");
  for (std::string line; std::getline(locks, line);) {
    std::istringstream words(line);
    std::string number;
    std::string kind;
    std::string mode;
    std::string access;
    std::string id;
    std::string file;
    words >> number >> kind >> mode >> access >> id >> file;
    if (file == wanted) ids.insert(id);
  }
  return ids;
}

bool has_open(const fs::path& process, const struct stat& status) {
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(process / "fd", error)) {
    struct stat open_file {};
    if (stat(entry.path().c_str(), &open_file) == 0 && S_ISCHR(open_file.st_mode) &&
        open_file.st_rdev == status.st_rdev && open_file.st_ino == status.st_ino) {
      return true;
    }
  }
  return false;
}

std::set<std::string> openers_of(const struct stat& status) {
  std::set<std::string> ids;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator("/proc", error)) {
    const std::string id = entry.path().filename().string();
    const bool is_process = id.find_first_not_of("0123456789") == std::string::npos;
    if (is_process && has_open(entry.path(), status)) ids.insert(id);
  }
  return ids;
}

}  // namespace

struct SerialPort::Held {
  std::string path;
  int descriptor = -1;
  KnownPort known{};  ///< by libserialport; else a plain terminal
  base::Duration latency{};

  Held() = default;
  Held(const Held&) = delete;
  Held& operator=(const Held&) = delete;
  ~Held() {
    if (known) {
      sp_close(known.get());
    } else if (descriptor >= 0) {
      close(descriptor);
    }
  }
};

SerialPort::SerialPort(const SerialSettings& settings) : held_(std::make_shared<Held>()) {
  Held& held = *held_;
  held.path = settings.usb ? find(*settings.usb) : settings.port;
  Descriptor plain(::open(held.path.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC));
  if (plain.number() < 0) refuse(held.path, errno);
  struct stat status {};
  fstat(plain.number(), &status);
  if (isatty(plain.number()) == 0) refuse(held.path, ENOTTY);
  claim(plain.number(), held.path);
  // Another program that reads along takes bytes away, whether it has claimed the port or not.
  // (The far end of a pseudo-terminal keeps both of its ends open.)
  if (!is_pseudo_terminal(status) && !holders_of(held.path).empty()) refuse_busy(held.path);
  std::error_code error;
  const std::string real = fs::canonical(held.path, error).string();
  sp_port* port = nullptr;
  if (!is_pseudo_terminal(status) && sp_get_port_by_name(real.c_str(), &port) == SP_OK) {
    held.known.reset(port);
    ioctl(plain.number(), TIOCNXCL);
    close(plain.release());  // libserialport opens it itself
    if (sp_open(port, SP_MODE_READ_WRITE) != SP_OK) refuse(held.path, sp_last_error_code());
    sp_get_port_handle(port, &held.descriptor);
    claim(held.descriptor, held.path);
    set_up(port, settings, held.path);
    correct(held.descriptor, settings.flow);
    held.latency = lower_latency_timer(fs::path(real).filename().string()).value_or(0ms);
  } else {
    held.descriptor = plain.release();
    make_raw(held.descriptor, settings.baud);
  }
  tcflush(held.descriptor, TCIFLUSH);
}

int SerialPort::descriptor() const { return held_->descriptor; }
const std::string& SerialPort::path() const { return held_->path; }
base::Duration SerialPort::latency() const { return held_->latency; }

void SerialPort::write(std::string_view bytes) {
  (void)!::write(held_->descriptor, bytes.data(), bytes.size());
}

void SerialPort::reset(ResetLine line) {
  constexpr base::Duration pulse = 100ms;
  if (line == ResetLine::none) return;
  int bit = line == ResetLine::dtr ? TIOCM_DTR : TIOCM_RTS;
  if (ioctl(held_->descriptor, TIOCMBIC, &bit) != 0) return;  // a terminal without lines
  lines::kernel_nap(pulse);
  ioctl(held_->descriptor, TIOCMBIS, &bit);
}

std::vector<std::string> holders_of(const std::string& path) {
  struct stat status {};
  if (stat(path.c_str(), &status) != 0) return {};
  std::set<std::string> ids = lockers_of(status);
  const std::string own = std::to_string(getpid());
  ids.erase(own);
  if (ids.empty()) ids = openers_of(status);
  ids.erase(own);
  std::vector<std::string> holders;
  holders.reserve(ids.size());
  for (const std::string& id : ids) holders.push_back(name_of_process(id));
  return holders;
}

std::vector<std::string> ports_here() {
  std::vector<std::string> texts;
  for (const KnownPort& port : known_ports()) {
    const auto usb = usb_of(port.get());
    texts.push_back(std::string(sp_get_port_name(port.get())) +
                    (usb ? " (" + text_of(*usb) + ")" : ""));
  }
  return texts;
}

std::optional<base::Duration> lower_latency_timer(const std::string& tty,
                                                  const std::filesystem::path& bridges) {
  const fs::path file = bridges / tty / "latency_timer";
  const auto read_ms = [&file]() -> std::optional<std::int64_t> {
    std::int64_t ms = 0;
    if (!(std::ifstream(file) >> ms)) return std::nullopt;
    return ms;
  };
  auto ms = read_ms();
  if (!ms) return std::nullopt;
  if (*ms > 1) {
    std::ofstream(file) << "1\n";
    ms = read_ms();
  }
  return std::chrono::milliseconds{ms.value_or(0)};
}

}  // namespace plexor::rig
