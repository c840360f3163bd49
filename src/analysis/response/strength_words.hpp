#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/response/strength_response.hpp"

// The sentences of a StrengthResponse.

namespace plexor::analysis {

/// exp(strength) with three digits and the unit: "0.412 m/s".
[[nodiscard]] std::string speed_text(double strength, std::string_view unit);

/// Why nothing can be said before any curve is fitted; nothing if a curve may be.
[[nodiscard]] std::optional<std::string> why_no_curve(const StrengthResponse& response,
                                                      std::string_view unit);
/// Why the slope of a fitted curve says nothing.
[[nodiscard]] std::string why_no_slope(const StrengthResponse& response);

[[nodiscard]] std::string why_this_curve(const StrengthResponse& response);
[[nodiscard]] std::string word_of(const StrengthAtShare& threshold,
                                  const StrengthResponse& response, std::string_view unit);
[[nodiscard]] std::string answer_of(const StrengthResponse& response, std::string_view unit);
[[nodiscard]] std::vector<std::string> strength_remarks(const StrengthResponse& response,
                                                        bool is_step, std::string_view unit);

}  // namespace plexor::analysis
