#include "app/hear_knocks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <memory>

#include "analysis/number_text.hpp"
#include "app/aside.hpp"
#include "base/error.hpp"
#include "lines/lines.hpp"

namespace plexor::app {

namespace {

using lines::KernelInstant;

std::unique_ptr<lines::Lines> contact_line(const rig::RigFile& rig) {
  if (!rig.wiring || !rig.wiring->contact) {
    throw base::InputError(
        "learn: this rig has no contact line to hear a person on; take one of kind \"lines\" with "
        "[contact] kind = \"pickup\", or give the knocks of a file by --from");
  }
  const safety::Wire& wire = *rig.wiring->contact;
  return lines::request(
      rig.wiring->chip,
      {{.name = "contact", .offset = wire.offset, .active_low = wire.active_low, .edges = true}});
}

base::Duration length_of(double seconds) {
  return std::chrono::duration_cast<base::Duration>(std::chrono::duration<double>(seconds));
}

/// The knocks so far, and how many performances they make.
class Audience {
 public:
  explicit Audience(const KnockHearing& hearing) : hearing_(hearing) {}

  void take(KernelInstant at) {
    if (!knocks_.empty() && at < last_ + length_of(hearing_.lockout_s)) return;
    if (knocks_.empty()) first_ = at;
    last_ = at;
    in_performance_ = true;
    knocks_.push_back({base::to_s(at - first_)});
  }

  /// True once enough have come.
  [[nodiscard]] bool has_enough(KernelInstant now) {
    if (!in_performance_ || now <= last_ + length_of(hearing_.pause_s)) return false;
    in_performance_ = false;
    const auto performances = analysis::performances_of(knocks_, hearing_.pause_s);
    const std::size_t kept = performances.kept.size();
    const auto& left_out = performances.left_out;
    const std::size_t heard = kept + left_out.size();
    if (!left_out.empty() && left_out.back().number == heard) {
      say_aside("{}, left out: the others have {}\n",
                analysis::counted(left_out.back().knocks.size(), "knock"),
                performances.knocks_each);
    } else {
      say_aside("{} of {}: {}\n", kept, hearing_.times,
                analysis::counted(performances.knocks_each, "knock"));
    }
    return kept >= hearing_.times;
  }

  [[nodiscard]] std::vector<analysis::Knock> knocks() const { return knocks_; }

 private:
  KnockHearing hearing_;
  std::vector<analysis::Knock> knocks_{};
  KernelInstant first_{};
  KernelInstant last_{};
  bool in_performance_ = false;
};

}  // namespace

std::vector<analysis::Knock> hear_knocks(const rig::RigFile& rig, const KnockHearing& hearing,
                                         const std::function<bool()>& stop_requested) {
  const auto contact = contact_line(rig);
  constexpr base::Duration look_up = std::chrono::milliseconds{50};
  say_aside(
      "Knock the rhythm {} times, with more than {:g} s of silence between. Nothing is energised; "
      "Ctrl-C ends it.\n",
      hearing.times, hearing.pause_s);
  Audience audience(hearing);
  while (!stop_requested()) {
    const auto edge = contact->wait_edge(look_up);
    if (edge && edge->level == lines::Level::active) audience.take(edge->at - rig.contact.lag);
    if (!edge && audience.has_enough(lines::kernel_now())) break;
  }
  return audience.knocks();
}

}  // namespace plexor::app
