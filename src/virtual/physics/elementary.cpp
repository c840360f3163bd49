#include "virtual/physics/elementary.hpp"

#include <cmath>
#include <cstdint>

namespace plexor::physics {

SinCos sin_cos_turns(double turns) {
  auto whole = static_cast<double>(static_cast<std::int64_t>(turns));
  double rest = turns - whole;  // in (-1, 1)
  if (rest > 0.5) rest -= 1.0;
  if (rest < -0.5) rest += 1.0;
  return sin_cos(2.0 * pi * rest);
}

double fifth_root(double x) {
  double root = exponential_of(natural_log(x) / 5.0);
  root += (x / (root * root * root * root) - root) / 5.0;  // Newton, squares the error
  return root;
}

double power_1_5(double x) { return x * std::sqrt(x); }

}  // namespace plexor::physics
