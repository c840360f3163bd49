#include "safety/thermal.hpp"

#include <algorithm>
#include <cstdint>

namespace plexor::safety {

namespace {

constexpr double copper_zero_c = -234.5;  // where copper's resistance, drawn as a line, ends
constexpr base::Duration longest_on_step = std::chrono::milliseconds{5};
// Only a coil stuck on for over an hour meets this; longer steps still settle at the right place.
constexpr std::int64_t most_on_steps = 1'000'000;

/// How what the two nodes have above rest carries over to later: one row a node.
struct Carry {
  double winding_from_winding;
  double winding_from_body;
  double body_from_winding;
  double body_from_body;
};

Carry product(const Carry& a, const Carry& b) {
  return {
      a.winding_from_winding * b.winding_from_winding + a.winding_from_body * b.body_from_winding,
      a.winding_from_winding * b.winding_from_body + a.winding_from_body * b.body_from_body,
      a.body_from_winding * b.winding_from_winding + a.body_from_body * b.body_from_winding,
      a.body_from_winding * b.winding_from_body + a.body_from_body * b.body_from_body};
}

/// The matrix exponential of the heat exchange over `seconds`, without libm: the
/// time is halved until a short series is exact to rounding, then the result is
/// squared back up (scaling and squaring; Moler and Van Loan 2003, SIAM Review 45(1), method 3).
Carry carry_over(const CoilModel& coil, double seconds) {
  const double winding_to_body = 1.0 / (coil.winding_to_body_k_w * coil.winding_j_k);
  const double body_to_winding = 1.0 / (coil.winding_to_body_k_w * coil.body_j_k);
  const double body_to_air = 1.0 / (coil.body_to_air_k_w * coil.body_j_k);
  const double fastest = 2.0 * std::max(winding_to_body, body_to_winding + body_to_air);

  int halvings = 0;
  for (; fastest * seconds > 0.0625; ++halvings) seconds *= 0.5;

  const Carry exchange{-winding_to_body * seconds, winding_to_body * seconds,
                       body_to_winding * seconds, -(body_to_winding + body_to_air) * seconds};
  Carry carry{1.0, 0.0, 0.0, 1.0};
  for (int term = 8; term > 0; --term) {  // 0.0625^9 / 9! < 2^-54
    const Carry next = product(exchange, carry);
    const double share = 1.0 / term;
    carry = {1.0 + next.winding_from_winding * share, next.winding_from_body * share,
             next.body_from_winding * share, 1.0 + next.body_from_body * share};
  }
  for (; halvings > 0; --halvings) carry = product(carry, carry);
  return carry;
}

/// Where both nodes end if this power goes on for ever.
CoilState steady(const CoilModel& coil, double power_w) {
  const double body_c = coil.ambient_c + power_w * coil.body_to_air_k_w;
  return {body_c + power_w * coil.winding_to_body_k_w, body_c};
}

CoilState approach(CoilState state, CoilState end, const Carry& carry) {
  const double winding = state.winding_c - end.winding_c;
  const double body = state.body_c - end.body_c;
  return {
      end.winding_c + carry.winding_from_winding * winding + carry.winding_from_body * body,
      end.body_c + carry.body_from_winding * winding + carry.body_from_body * body,
  };
}

}  // namespace

double resistance_ohm(const CoilModel& coil, double winding_c) {
  return coil.resistance_20c_ohm * (winding_c - copper_zero_c) / (20.0 - copper_zero_c);
}

CoilState cold(const CoilModel& coil) { return {coil.ambient_c, coil.ambient_c}; }

CoilState after_at_power(const CoilModel& coil, CoilState state, base::Duration elapsed,
                         double power_w) {
  if (elapsed <= base::Duration::zero()) return state;
  return approach(state, steady(coil, power_w), carry_over(coil, base::to_s(elapsed)));
}

CoilState after(const CoilModel& coil, CoilState state, base::Duration elapsed, bool on) {
  if (elapsed <= base::Duration::zero()) return state;
  if (!on) return after_at_power(coil, state, elapsed, 0.0);
  const std::int64_t steps =
      std::min((elapsed - base::Duration{1}) / longest_on_step + 1, most_on_steps);
  const Carry carry = carry_over(coil, base::to_s(elapsed) / static_cast<double>(steps));
  for (std::int64_t step = 0; step < steps; ++step) {
    const double power_w = coil.supply_v * coil.supply_v / resistance_ohm(coil, state.winding_c);
    state = approach(state, steady(coil, power_w), carry);
  }
  return state;
}

}  // namespace plexor::safety
