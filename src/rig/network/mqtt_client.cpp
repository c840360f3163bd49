#include "rig/network/mqtt_client.hpp"

#include <fmt/format.h>
#include <mosquitto.h>
#include <mqtt_protocol.h>
#include <poll.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cstring>
#include <deque>
#include <mutex>
#include <optional>
#include <set>
#include <thread>
#include <utility>
#include <vector>

#include "base/error.hpp"
#include "lines/descriptor.hpp"
#include "rig/line_text.hpp"
#include "rig/looking_again.hpp"
#include "rig/network/reach.hpp"
#include "rig/network/secret.hpp"

namespace plexor::rig {

namespace {

using lines::KernelInstant;
using namespace std::chrono_literals;

constexpr base::Duration patience = 5s;  ///< for the connection, and for each answer
constexpr base::Duration farewell = 500ms;
constexpr int keep_alive_s = 5;  ///< a broker that is silent for longer is lost

/// The library's global state, for as long as the program lives.
class Library {
 public:
  static void begin() { static const Library library; }
  Library(const Library&) = delete;
  Library& operator=(const Library&) = delete;

 private:
  Library() { mosquitto_lib_init(); }
  ~Library() { mosquitto_lib_cleanup(); }
};

const char* text_or_null(const std::string& text) { return text.empty() ? nullptr : text.c_str(); }

/// Instead of a question at the terminal, which nobody may be there to answer.
int no_pass_phrase(char*, int, int, void*) { return 0; }

void check_readable(const std::string& file) {
  if (file.empty() || ::access(file.c_str(), R_OK) == 0) return;
  throw base::InputError({file, 0, 0}, "no file that can be read",
                         "a certificate or key (PEM), as the rig file says");
}

/// A descriptor that can be read once somebody has called.
class Bell {
 public:
  void ring() const { (void)eventfd_write(descriptor(), 1); }
  void hush() const {
    eventfd_t rings = 0;
    (void)eventfd_read(descriptor(), &rings);
  }
  [[nodiscard]] int descriptor() const { return eventfd_.get(); }

 private:
  lines::Descriptor eventfd_{::eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC)};
};

}  // namespace

/// One connection, from its begin to its loss. The library calls back from within its loop.
class MqttClient::Connection {
 public:
  Connection(const Setting& setting, const std::string& password, const Hearers& hearers)
      : setting_(setting), hearers_(hearers), begun_(lines::kernel_now()) {
    Library::begin();
    handle_.reset(mosquitto_new(nullptr, true, this));
    if (!handle_) throw base::RigFault("no memory for a connection to a broker");
    configure(password);
    listen_to_library();
  }
  ~Connection() = default;
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;

  /// Why it could not be made. The library waits for the address, so that is seen to answer
  /// first: the broker's own where a certificate must match its name, else any.
  [[nodiscard]] std::optional<std::string> make(base::Duration longest, int give_up = -1) {
    const BrokerSettings& broker = setting_.broker;
    const Reached reached =
        reach(broker.host, broker.port, broker.tls ? Addresses::only_first : Addresses::any,
              longest, give_up);
    if (reached.address.empty()) return reached.complaint;
    const std::string& host = broker.tls ? broker.host : reached.address;
    const int result = mosquitto_connect_bind_v5(handle_.get(), host.c_str(), broker.port,
                                                 keep_alive_s, nullptr, properties_.get());
    if (result != MOSQ_ERR_SUCCESS) return reason(result);
    begun_ = lines::kernel_now();  // connecting has its own limit
    heard_at_ = begun_;
    stamped_ = ask_for_stamps(mosquitto_socket(handle_.get()));
    return std::nullopt;
  }

  /// Waits until something comes, can be sent, or the bell rings; then does what is due.
  /// Why the connection is lost, if it is.
  [[nodiscard]] std::optional<std::string> live(const Bell& bell, base::Duration longest) {
    const int socket = mosquitto_socket(handle_.get());
    const short wanted = mosquitto_want_write(handle_.get()) ? POLLIN | POLLOUT : POLLIN;
    std::array<pollfd, 2> awaited{{{socket, wanted, 0}, {bell.descriptor(), POLLIN, 0}}};
    const auto wait_ms = std::chrono::duration_cast<std::chrono::milliseconds>(longest).count();
    (void)::poll(awaited.data(), awaited.size(), static_cast<int>(wait_ms));
    bell.hush();
    stamp_ = peek_stamp(socket, 1);  // always: more may have come since the poll
    const int result = mosquitto_loop(handle_.get(), 0, 1);
    const bool is_heard = (awaited[0].revents & POLLIN) != 0 && result == MOSQ_ERR_SUCCESS;
    if (is_heard) heard_at_ = lines::kernel_now();
    if (refused_) return refused_;
    if (result != MOSQ_ERR_SUCCESS) return reason(result);
    const bool is_overdue = !granted_ && lines::kernel_now() > begun_ + patience;
    return is_overdue ? std::optional<std::string>("does not answer") : std::nullopt;
  }

  /// Connected, and the subscription granted.
  [[nodiscard]] bool is_up() const { return granted_; }
  [[nodiscard]] bool stamps_by_kernel() const { return stamped_; }
  /// When the broker last said anything; it is asked every few seconds.
  [[nodiscard]] KernelInstant heard_at() const { return heard_at_; }
  /// Messages that it has refused, or not yet acknowledged.
  [[nodiscard]] std::uint64_t unpublished() const { return refusals_ + unsent_.size(); }
  /// Of the last subscription, and how many there were.
  [[nodiscard]] base::Duration round_trip() const { return round_trip_; }
  [[nodiscard]] int round_trips() const { return round_trips_; }

  void publish(const MqttMessage& message) {
    int id = 0;
    const int result = mosquitto_publish_v5(
        handle_.get(), &id, message.topic.c_str(), static_cast<int>(message.payload.size()),
        message.payload.data(), message.qos, message.retain, nullptr);
    if (result == MOSQ_ERR_SUCCESS) {
      unsent_.insert(id);
    } else {
      ++refusals_;
    }
  }
  [[nodiscard]] bool has_sent_all() const {
    return unsent_.empty() && !mosquitto_want_write(handle_.get());
  }
  void take_leave() { mosquitto_disconnect_v5(handle_.get(), 0, nullptr); }

  /// Asks for the subscription once more; round_trip() then says how long that took.
  void subscribe() {
    subscribed_at_ = lines::kernel_now();
    mosquitto_subscribe_v5(handle_.get(), nullptr, setting_.topic.c_str(), setting_.qos, 0,
                           nullptr);
  }

 private:
  void configure(const std::string& password) {
    const BrokerSettings& broker = setting_.broker;
    const bool is_v5 = broker.version == MqttVersion::v5;
    mosquitto_int_option(handle_.get(), MOSQ_OPT_PROTOCOL_VERSION,
                         is_v5 ? MQTT_PROTOCOL_V5 : MQTT_PROTOCOL_V311);
    mosquitto_int_option(handle_.get(), MOSQ_OPT_TCP_NODELAY, 1);
    if (is_v5) {
      mosquitto_property* properties = nullptr;
      mosquitto_property_add_int32(&properties, MQTT_PROP_MAXIMUM_PACKET_SIZE, longest_packet);
      properties_.reset(properties);
    }
    if (!broker.user.empty()) {
      mosquitto_username_pw_set(handle_.get(), broker.user.c_str(), text_or_null(password));
    }
    if (broker.tls) {
      const TlsSettings& tls = *broker.tls;
      const int result = mosquitto_tls_set(handle_.get(), tls.ca_file.c_str(), nullptr,
                                           text_or_null(tls.certificate_file),
                                           text_or_null(tls.key_file), no_pass_phrase);
      if (result != MOSQ_ERR_SUCCESS) {
        throw base::InputError({tls.ca_file, 0, 0}, mosquitto_strerror(result),
                               "certificates that can be used");
      }
    }
    if (const auto& will = setting_.will) {
      mosquitto_will_set_v5(handle_.get(), will->topic.c_str(),
                            static_cast<int>(will->payload.size()), will->payload.data(), will->qos,
                            will->retain, nullptr);
    }
  }

  void listen_to_library() {
    mosquitto_connect_v5_callback_set(
        handle_.get(), [](mosquitto*, void* self, int code, int, const mosquitto_property*) {
          static_cast<Connection*>(self)->connected(code);
        });
    mosquitto_subscribe_v5_callback_set(
        handle_.get(),
        [](mosquitto*, void* self, int, int count, const int* granted, const mosquitto_property*) {
          static_cast<Connection*>(self)->subscribed(count > 0 ? granted[0] : MQTT_RC_UNSPECIFIED);
        });
    mosquitto_message_v5_callback_set(
        handle_.get(),
        [](mosquitto*, void* self, const mosquitto_message* message, const mosquitto_property*) {
          static_cast<Connection*>(self)->heard(*message);
        });
    mosquitto_publish_v5_callback_set(
        handle_.get(), [](mosquitto*, void* self, int id, int code, const mosquitto_property*) {
          static_cast<Connection*>(self)->published(id, code);
        });
    mosquitto_log_callback_set(handle_.get(),
                               [](mosquitto*, void* self, int level, const char* text) {
                                 if (level == MOSQ_LOG_ERR)
                                   static_cast<Connection*>(self)->last_error_ = printable(text);
                               });
  }

  void published(int id, int code) {
    constexpr int first_failure = 0x80;
    unsent_.erase(id);
    if (code >= first_failure) ++refusals_;
  }

  void connected(int code) {
    if (code != 0) {
      const bool is_v5 = setting_.broker.version == MqttVersion::v5;
      refused_ = fmt::format("refuses the connection: {}", is_v5 ? mosquitto_reason_string(code)
                                                                 : mosquitto_connack_string(code));
      return;
    }
    if (setting_.topic.empty()) {
      granted_ = true;
      round_trip_ = lines::kernel_now() - begun_;
      ++round_trips_;
    } else {
      subscribe();
    }
  }

  void subscribed(int granted) {
    constexpr int first_failure = 0x80;
    if (granted >= first_failure) {
      refused_ = fmt::format("does not grant the topic \"{}\": {}", setting_.topic,
                             mosquitto_reason_string(granted));
      return;
    }
    round_trip_ = lines::kernel_now() - subscribed_at_;
    ++round_trips_;
    if (granted < setting_.qos && hearers_.trouble) {
      hearers_.trouble(fmt::format("grants QoS {} only, of {}", granted, setting_.qos));
    }
    granted_ = true;
  }

  void heard(const mosquitto_message& message) {
    if (!hearers_.message) return;
    const auto* payload = static_cast<const char*>(message.payload);
    const auto length = static_cast<std::size_t>(std::max(0, message.payloadlen));
    hearers_.message({message.topic, length == 0 ? "" : std::string(payload, length),
                      message.retain, message.qos},
                     stamp_);
  }

  [[nodiscard]] std::string reason(int result) const {
    if (result == MOSQ_ERR_ERRNO) return base::last_reason();
    if (result == MOSQ_ERR_TLS && !last_error_.empty()) return "TLS: " + last_error_;
    return mosquitto_strerror(result);
  }

  struct Destroy {
    void operator()(mosquitto* handle) const { mosquitto_destroy(handle); }
    void operator()(mosquitto_property* list) const { mosquitto_property_free_all(&list); }
  };

  const Setting& setting_;
  const Hearers& hearers_;
  KernelInstant begun_;
  std::unique_ptr<mosquitto_property, Destroy> properties_;
  std::unique_ptr<mosquitto, Destroy> handle_;
  ReceiveStamp stamp_;
  bool stamped_ = false;
  bool granted_ = false;
  std::optional<std::string> refused_;
  std::string last_error_;
  KernelInstant subscribed_at_;
  base::Duration round_trip_{};
  int round_trips_ = 0;
  KernelInstant heard_at_;
  std::set<int> unsent_;  ///< published, and not yet gone (QoS 0) or acknowledged
  std::uint64_t refusals_ = 0;
};

/// Makes one connection after the other.
class MqttClient::Keeper {
 public:
  Keeper(Setting setting, Hearers hearers)
      : setting_(std::move(setting)), hearers_(std::move(hearers)) {
    const BrokerSettings& broker = setting_.broker;
    if (broker.password) password_ = read_secret(*broker.password);
    if (broker.tls) {
      check_readable(broker.tls->ca_file);
      check_readable(broker.tls->certificate_file);
      check_readable(broker.tls->key_file);
      if (!broker.tls->key_file.empty()) check_owner_only(broker.tls->key_file);
    }
    (void)Connection(setting_, password_, hearers_);  // what can't be used is said now
  }
  /// From now on its hearers are told.
  void begin() {
    thread_ = std::thread([this] { keep(); });
  }
  ~Keeper() {
    over_at_ = lines::kernel_now();
    over_ = true;
    end_.ring();
    bell_.ring();
    thread_.join();
  }
  Keeper(const Keeper&) = delete;
  Keeper& operator=(const Keeper&) = delete;

  void publish(MqttMessage message) {
    {
      const std::scoped_lock lock(outbox_mutex_);
      outbox_.push_back(std::move(message));
      if (outbox_.size() > longest_outbox) {
        outbox_.pop_front();
        ++unpublished_;
      }
    }
    bell_.ring();
  }
  [[nodiscard]] std::size_t waiting() {
    const std::scoped_lock lock(outbox_mutex_);
    return outbox_.size();
  }
  [[nodiscard]] std::uint64_t unpublished() const { return unpublished_; }
  [[nodiscard]] bool stamps_by_kernel() const { return stamps_by_kernel_; }

 private:
  void keep() {
    GrowingWait wait;
    while (!over_) {
      // One that only lets us in and hangs up is not asked ten times a second.
      if (hold_one() >= longest_look) wait.begin_anew();
      rest(wait.take());
    }
    if (something_waits()) (void)hold_one();  // the last words
  }

  /// One connection, to its end; how long it was up.
  base::Duration hold_one() {
    const bool at_last = over_;
    try {
      Connection connection(setting_, password_, hearers_);
      if (const auto why =
              connection.make(at_last ? farewell : patience, at_last ? -1 : end_.descriptor())) {
        complain(*why);
        return base::Duration::zero();
      }
      const base::Duration was_up = live_by(connection);
      unpublished_ += connection.unpublished();
      return was_up;
    } catch (const std::exception& error) {  // a certificate that has become unusable
      complain(error.what());
      return base::Duration::zero();
    }
  }

  base::Duration live_by(Connection& connection) {
    std::optional<KernelInstant> up_since;
    const auto was_up = [&] {
      return up_since ? lines::kernel_now() - *up_since : base::Duration::zero();
    };
    while (!over_ || (!up_since && something_waits() && lines::kernel_now() < leaves_at())) {
      if (connection.is_up()) send_outbox(connection);
      if (const auto why = connection.live(bell_, 200ms)) {
        if (up_since && hearers_.state) hearers_.state(false, connection.heard_at());
        complain(*why);
        return was_up();
      }
      if (!connection.is_up() || up_since) continue;
      up_since = lines::kernel_now();
      stamps_by_kernel_ = connection.stamps_by_kernel();
      last_trouble_.clear();
      if (hearers_.state) hearers_.state(true, *up_since);
    }
    part(connection);
    return was_up();
  }

  void part(Connection& connection) {
    if (connection.is_up()) send_outbox(connection);
    const auto wait_for_it = [this] { return lines::kernel_now() < leaves_at(); };
    while (wait_for_it() && !connection.has_sent_all()) {
      if (connection.live(bell_, 20ms)) return;
    }
    connection.take_leave();
    while (wait_for_it() && !connection.live(bell_, 20ms)) {
    }
  }

  void send_outbox(Connection& connection) {
    std::deque<MqttMessage> sending;
    {
      const std::scoped_lock lock(outbox_mutex_);
      sending.swap(outbox_);
    }
    for (const MqttMessage& message : sending) connection.publish(message);
  }

  [[nodiscard]] bool something_waits() { return waiting() > 0; }
  /// Once it is over.
  [[nodiscard]] KernelInstant leaves_at() const { return over_at_ + farewell; }

  void complain(const std::string& why) {
    if (over_ || why == std::exchange(last_trouble_, why)) return;
    if (hearers_.trouble) hearers_.trouble(why);
  }

  /// Unless it is over before.
  void rest(base::Duration length) const {
    pollfd awaited{end_.descriptor(), POLLIN, 0};
    const auto wait_ms = std::chrono::duration_cast<std::chrono::milliseconds>(length).count();
    (void)::poll(&awaited, 1, static_cast<int>(wait_ms));
  }

  Setting setting_;
  Hearers hearers_;
  std::string password_;
  Bell bell_;  ///< rung when there is something to do
  Bell end_;
  std::mutex outbox_mutex_;
  std::deque<MqttMessage> outbox_;
  std::string last_trouble_;
  std::atomic<std::uint64_t> unpublished_ = 0;
  std::atomic<bool> stamps_by_kernel_ = true;  ///< until a connection shows that it is not so
  KernelInstant over_at_;                      ///< set before over_
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

MqttClient::MqttClient(Setting setting, Hearers hearers)
    : keeper_(std::make_unique<Keeper>(std::move(setting), std::move(hearers))) {
  keeper_->begin();
}

MqttClient::~MqttClient() = default;

void MqttClient::publish(MqttMessage message) { keeper_->publish(std::move(message)); }

std::size_t MqttClient::waiting() const { return keeper_->waiting(); }

std::uint64_t MqttClient::unpublished() const { return keeper_->unpublished(); }

bool MqttClient::stamps_by_kernel() const { return keeper_->stamps_by_kernel(); }

base::Duration MqttClient::round_trip(const Setting& setting, base::Duration longest) {
  const int trips = setting.topic.empty() ? 1 : 3;
  const Hearers nobody;
  const Bell bell;
  const auto require = [](const std::optional<std::string>& complaint) {
    if (complaint) throw base::RigFault(*complaint);
  };
  const std::string password =
      setting.broker.password ? read_secret(*setting.broker.password) : std::string();
  Connection connection(setting, password, nobody);
  require(connection.make(longest));
  const KernelInstant give_up = lines::kernel_now() + longest;
  base::Duration shortest = longest;
  for (int trip = 0; trip < trips; ++trip) {
    if (trip > 0) connection.subscribe();
    while (connection.round_trips() <= trip) {
      require(connection.live(bell, 200ms));
      if (lines::kernel_now() > give_up) throw base::RigFault("does not answer in time");
    }
    shortest = std::min(shortest, connection.round_trip());
  }
  connection.take_leave();
  (void)connection.live(bell, 10ms);
  return shortest;
}

}  // namespace plexor::rig
