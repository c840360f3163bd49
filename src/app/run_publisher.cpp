#include "app/run_publisher.hpp"

#include <fmt/format.h>

#include <cstdio>
#include <mutex>
#include <optional>
#include <utility>

#include "app/aside.hpp"
#include "lines/lines.hpp"
#include "rig/network/mqtt_client.hpp"

namespace plexor::app {

namespace {

using Json = nlohmann::ordered_json;

Json answer_json(const judge::Answer& answer) {
  Json json = {{"outcome", base::to_text(answer.outcome)}, {"latency_ms", nullptr}};
  if (answer.latency) json["latency_ms"] = base::to_ms(*answer.latency);
  json["heard"] = answer.heard;
  json["incidents"] = answer.incidents.size();
  return json;
}

std::string listener_name(const rig::Device& device, std::size_t listener) {
  return listener < device.listeners.size() ? device.listeners[listener].name : "";
}

/// One object for each device and each of its listeners.
Json answers_json(const std::vector<judge::Answer>& answers, const rig::RigFile& rig) {
  Json list = Json::array();
  for (std::size_t device = 0; device < answers.size(); ++device) {
    const auto add = [&](std::size_t listener, const judge::Answer& answer) {
      Json one = {{"device", rig.devices[device].name},
                  {"listener", listener_name(rig.devices[device], listener)}};
      one.update(answer_json(answer));
      list.push_back(std::move(one));
    };
    add(0, answers[device]);
    for (std::size_t other = 0; other < answers[device].beside.size(); ++other) {
      add(other + 1, answers[device].beside[other]);
    }
  }
  return list;
}

}  // namespace

class RunPublisher::Line {
 public:
  Line(const Job& job, const rig::PublishSettings& settings)
      : job_(job),
        topic_(settings.topic),
        state_(state_message("waiting")),
        client_({.broker = settings.broker, .will = state_message("vanished")},
                {.state =
                     [this](bool up, lines::KernelInstant) {
                       if (up) publish_state();  // a lost connection has left "vanished" there
                     },
                 .trouble =
                     [broker = settings.broker](const std::string& why) {
                       say_aside("publish: broker {}:{}: {}\n", broker.host, broker.port, why);
                     }}) {}

  void run_on() {
    if (!std::exchange(is_running_, true)) change_state("running");
  }

  void tell(const std::string& what, const Json& json) {
    client_.publish({.topic = topic_ + "/" + what, .payload = text_of(json)});
  }

  void end(const Json& summary) {
    client_.publish(
        {.topic = topic_ + "/summary", .payload = text_of(summary), .retain = true, .qos = 1});
    change_state("ended");
    has_ended_ = true;
  }
  void fail_unless_ended() {
    if (!has_ended_) change_state("failed");
  }

  /// At most once a second.
  [[nodiscard]] bool progress_is_due() {
    constexpr base::Duration between = std::chrono::seconds{1};
    const lines::KernelInstant now = lines::kernel_now();
    if (told_progress_at_ && now < *told_progress_at_ + between) return false;
    told_progress_at_ = now;
    return true;
  }
  [[nodiscard]] std::uint64_t dropped() const { return client_.unpublished(); }
  [[nodiscard]] const Job& job() const { return job_; }

 private:
  [[nodiscard]] rig::MqttMessage state_message(const std::string& state) const {
    const Json json = {{"state", state}, {"scenario", job_.scenario.name}, {"rig", job_.rig.name}};
    return {.topic = topic_ + "/state", .payload = text_of(json), .retain = true, .qos = 1};
  }
  void change_state(const std::string& state) {
    {
      const std::scoped_lock lock(state_mutex_);
      state_ = state_message(state);
    }
    publish_state();
  }
  void publish_state() {
    const std::scoped_lock lock(state_mutex_);
    client_.publish(state_);
  }
  static std::string text_of(const Json& json) {
    return json.dump(-1, ' ', false, Json::error_handler_t::replace);
  }

  const Job& job_;
  std::string topic_;
  bool is_running_ = false;
  bool has_ended_ = false;
  std::optional<lines::KernelInstant> told_progress_at_;
  std::mutex state_mutex_;
  rig::MqttMessage state_;  ///< as published last
  rig::MqttClient client_;
};

RunPublisher::RunPublisher(const Job& job) {
  if (job.rig.publish) line_ = std::make_unique<Line>(job, *job.rig.publish);
}

RunPublisher::~RunPublisher() {
  if (line_) line_->fail_unless_ended();
}

void RunPublisher::progress(const run::Progress& progress) {
  if (!line_) return;
  line_->run_on();
  if (!line_->progress_is_due()) return;
  line_->tell("progress", {{"done", progress.done},
                           {"remaining", progress.remaining},
                           {"voids", progress.voids},
                           {"hits", progress.hits},
                           {"expected", progress.expected},
                           {"leave_ended", progress.leave_ended},
                           {"unheard", progress.unheard},
                           {"hung", progress.hung}});
}

void RunPublisher::outcome(const judge::Settled& settled) {
  if (!line_ || settled.trial.kind == base::TrialKind::reference) return;
  const Job& job = line_->job();
  const bool is_rhythm = settled.trial.kind == base::TrialKind::rhythm;
  Json json = {{"block", settled.trial.id.block},
               {"trial", settled.trial.id.number},
               {"attempt", settled.trial.id.attempt},
               {"kind", base::to_text(settled.trial.kind)},
               {"rhythm", is_rhythm ? job.scenario.rhythms.at(settled.trial.rhythm).name : ""},
               {"void", nullptr}};
  if (settled.void_reason) json["void"] = base::to_text(*settled.void_reason);
  json["answers"] = answers_json(settled.answers, job.rig);
  line_->tell("outcome", json);
}

void RunPublisher::end(const Json& summary) {
  if (line_) line_->end(summary);
}

std::uint64_t RunPublisher::dropped() const { return line_ ? line_->dropped() : 0; }

}  // namespace plexor::app
