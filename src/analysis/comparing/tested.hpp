#pragma once

#include <cstdint>
#include <string>

// What tests that compare take and give.

namespace plexor::analysis {

/// Successes among trials: x <= n. Without trials intervals are as wide as can be and each p is 1.
struct Successes {
  std::uint64_t x = 0;
  std::uint64_t n = 0;
};

/// What a small p-value speaks for, about the first compared with the second.
enum class Alternative : std::uint8_t { two_sided, greater, less };

/// The p-values of one test for all three alternatives.
struct PValues {
  double two_sided = 1.0;
  double greater = 1.0;
  double less = 1.0;

  [[nodiscard]] double of(Alternative alternative) const {
    if (alternative == Alternative::greater) return greater;
    return alternative == Alternative::less ? less : two_sided;
  }
};

/// A p-value with the name of the method that gave it, where the method depends on the data.
struct NamedP {
  double p = 1.0;
  std::string method;
};

}  // namespace plexor::analysis
