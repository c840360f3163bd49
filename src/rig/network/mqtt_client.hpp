#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "rig/listener_settings.hpp"
#include "rig/network/receive_stamp.hpp"

namespace plexor::rig {

/// Something to publish.
struct MqttMessage {
  std::string topic{};
  std::string payload{};
  bool retain = false;
  std::int32_t qos = 0;
};

/// A connection to a broker, kept by a thread of its own: what is lost is looked for, after
/// 100 ms first and every 5 s at last. Its session is a clean one each time.
class MqttClient {
 public:
  struct Setting {
    BrokerSettings broker{};
    std::string topic{};                ///< to subscribe to; empty: only publishes
    std::int32_t qos = 0;               ///< of the subscription
    std::optional<MqttMessage> will{};  ///< published by the broker if this client vanishes
  };
  /// Called on the client's thread.
  struct Hearers {
    std::function<void(const MqttMessage&, ReceiveStamp)> message{};  ///< `retain`: an old one
    /// Up: connected, and the subscription granted. Down: `at` the broker was last heard.
    std::function<void(bool up, lines::KernelInstant at)> state{};
    std::function<void(const std::string&)> trouble{};  ///< why it is not; each thing once
  };
  /// Packets over this size are refused by a broker of MQTT 5. With 3.1.1 nothing but the
  /// broker's own limit bounds what it sends.
  static constexpr std::uint32_t longest_packet = 65'536;
  /// Messages that wait to be sent; for what is beyond, the oldest is dropped.
  static constexpr std::size_t longest_outbox = 1'000;

  /// Throws base::InputError for a password or certificate that can't be used.
  MqttClient(Setting setting, Hearers hearers);
  /// Sends what waits, for half a second at the most, and takes leave: no will is published.
  ~MqttClient();
  MqttClient(const MqttClient&) = delete;
  MqttClient& operator=(const MqttClient&) = delete;

  /// From any thread; never waits.
  void publish(MqttMessage message);
  /// Messages that wait for a connection, or for their turn.
  [[nodiscard]] std::size_t waiting() const;
  /// How many messages were dropped, refused by the broker, or not known to have reached it
  /// when a connection was lost.
  [[nodiscard]] std::uint64_t unpublished() const;
  /// The kernel stamps what the broker sends.
  [[nodiscard]] bool stamps_by_kernel() const;

  /// How long a broker takes to answer a subscription, the shortest of three; without a topic,
  /// to answer the connection. Throws base::RigFault saying why, if it does not answer within
  /// about `longest`.
  [[nodiscard]] static base::Duration round_trip(const Setting& setting, base::Duration longest);

 private:
  class Connection;
  class Keeper;
  std::unique_ptr<Keeper> keeper_;
};

}  // namespace plexor::rig
