#pragma once

#include <memory>
#include <string>

#include "rig/intake.hpp"
#include "rig/listener.hpp"
#include "rig/listener_settings.hpp"
#include "rig/network/web_hook_server.hpp"

namespace plexor::rig {

/// Hears a device that calls us by HTTP: each POST with the device's token is a message. It is
/// answered 204 once it has been told (or was told before, by its id), so that what was not
/// can be sent again.
class WebHookListener final : public Listener {
 public:
  /// `server` waits at the settings' address and port. Throws base::InputError for a token that
  /// can't be used.
  WebHookListener(std::string device, const WebHookSettings& settings, Hearers hearers,
                  std::shared_ptr<WebHookServer> server);
  ~WebHookListener() override;
  WebHookListener(const WebHookListener&) = delete;
  WebHookListener& operator=(const WebHookListener&) = delete;

  [[nodiscard]] base::Duration arrival_width() const override;

 private:
  Intake intake_;
  std::shared_ptr<WebHookServer> server_;
};

}  // namespace plexor::rig
