#include "analysis/signal/spectrum.hpp"

#include <kiss_fft.h>
#include <kiss_fftr.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <memory>
#include <numbers>

namespace plexor::analysis {
namespace {

constexpr std::size_t padding_factor = 4;
constexpr std::size_t most_lines = 8;
constexpr double weakest_line = 1e-4;  // of the strongest's power: 40 dB
constexpr double valley_power = 4.0;   // 6 dB
constexpr double false_line_share = 0.01;

struct FreeFft {
  void operator()(void* config) const { kiss_fft_free(config); }
};

/// From values to the lower half of their transform, `size` points even and zero behind the values.
std::vector<kiss_fft_cpx> real_transform(std::span<const double> values, std::size_t size) {
  const std::unique_ptr<kiss_fftr_state, FreeFft> config(
      kiss_fftr_alloc(static_cast<int>(size), 0, nullptr, nullptr));
  std::vector<kiss_fft_scalar> input(size);
  std::ranges::transform(values, input.begin(),
                         [](double value) { return static_cast<kiss_fft_scalar>(value); });
  std::vector<kiss_fft_cpx> output(size / 2 + 1);
  kiss_fftr(config.get(), input.data(), output.data());
  return output;
}

double falling_hann(std::size_t i, std::size_t n) {
  return 0.5 + 0.5 * std::cos(std::numbers::pi * static_cast<double>(i) / static_cast<double>(n));
}

/// Where the parabola through three logarithms has its top, in points from the middle one.
double top_of(double before, double here, double after) {
  const double tiny = 1e-300;
  const double a = std::log(before + tiny);
  const double b = std::log(here + tiny);
  const double c = std::log(after + tiny);
  const double bend = a - 2.0 * b + c;
  return bend < 0.0 ? std::clamp(0.5 * (a - c) / bend, -0.5, 0.5) : 0.0;
}

std::vector<std::size_t> maxima_in(const Spectrum& spectrum, double least) {
  std::vector<std::size_t> maxima;
  const auto first = static_cast<std::size_t>(std::ceil(spectrum.resolution_hz / spectrum.step_hz));
  const std::vector<double>& power = spectrum.power;
  for (std::size_t i = std::max<std::size_t>(first, 1); i + 1 < power.size(); ++i) {
    if (power[i] >= least && power[i] > power[i - 1] && power[i] >= power[i + 1]) {
      maxima.push_back(i);
    }
  }
  std::ranges::sort(maxima, [&](std::size_t a, std::size_t b) { return power[a] > power[b]; });
  return maxima;
}

bool stands_apart(const Spectrum& spectrum, std::size_t at, std::size_t stronger,
                  double clear_power) {
  const auto [low, high] = std::minmax(at, stronger);
  if (static_cast<double>(high - low) * spectrum.step_hz < spectrum.resolution_hz) return false;
  const double valley =
      *std::min_element(spectrum.power.begin() + static_cast<std::ptrdiff_t>(low),
                        spectrum.power.begin() + static_cast<std::ptrdiff_t>(high));
  const double power = spectrum.power[at];
  return power >= valley_power * valley &&
         std::sqrt(power) - std::sqrt(valley) >= std::sqrt(clear_power);
}

double gaussian(double hz, double middle_hz, double sd_hz) {
  const double from_middle = (hz - middle_hz) / sd_hz;
  return std::exp(-0.5 * from_middle * from_middle);
}

}  // namespace

Spectrum spectrum_of(std::span<const double> values, double rate_hz, std::size_t points) {
  const std::size_t n = values.size();
  std::vector<double> weighted(values.begin(), values.end());
  double sum = 0.0;
  double squares = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    const double weight = falling_hann(i, n);
    weighted[i] *= weight;
    sum += weight;
    squares += weight * weight;
  }
  const std::size_t size =
      std::bit_ceil(points == 0 ? padding_factor * n : 2 * std::max(n, points));
  const double scale = 4.0 / (sum * sum);
  Spectrum spectrum{.step_hz = rate_hz / static_cast<double>(size),
                    .resolution_hz = 2.0 * rate_hz / static_cast<double>(n),
                    .white_power = scale * squares};
  for (const kiss_fft_cpx& point : real_transform(weighted, size)) {
    const double real = point.r;
    const double imaginary = point.i;
    spectrum.power.push_back(scale * (real * real + imaginary * imaginary));
  }
  return spectrum;
}

std::vector<SpectralLine> lines_in(const Spectrum& spectrum, double clear_power) {
  std::vector<std::size_t> taken;
  std::vector<SpectralLine> lines;
  const std::vector<double>& power = spectrum.power;
  for (const std::size_t at : maxima_in(spectrum, clear_power)) {
    if (lines.size() == most_lines) break;
    if (!taken.empty() && power[at] < weakest_line * power[taken.front()]) break;
    if (!std::ranges::all_of(taken, [&](std::size_t stronger) {
          return stands_apart(spectrum, at, stronger, clear_power);
        })) {
      continue;
    }
    taken.push_back(at);
    const double between = top_of(power[at - 1], power[at], power[at + 1]);
    lines.push_back(
        {.hz = (static_cast<double>(at) + between) * spectrum.step_hz, .power = power[at]});
  }
  return lines;
}

double clear_of_noise(const Spectrum& spectrum, double noise_rms) {
  // The power of noise at one point is exponentially distributed; about as many points are
  // independent as there are samples.
  const double points =
      static_cast<double>(spectrum.power.size()) * spectrum.step_hz * 4.0 / spectrum.resolution_hz;
  return noise_rms * noise_rms * spectrum.white_power * std::log(points / false_line_share);
}

std::vector<double> band_amplitude(std::span<const double> values, double rate_hz, double hz,
                                   double sd_hz) {
  const std::size_t size = std::bit_ceil(2 * values.size());
  std::vector<kiss_fft_cpx> points = real_transform(values, size);
  points.resize(size);  // no negative frequencies: the analytic signal
  const double step_hz = rate_hz / static_cast<double>(size);
  for (std::size_t i = 0; i <= size / 2; ++i) {
    const auto weight = static_cast<kiss_fft_scalar>(
        2.0 / static_cast<double>(size) * gaussian(static_cast<double>(i) * step_hz, hz, sd_hz));
    points[i].r *= weight;
    points[i].i *= weight;
  }
  const std::unique_ptr<kiss_fft_state, FreeFft> config(
      kiss_fft_alloc(static_cast<int>(size), 1, nullptr, nullptr));
  std::vector<kiss_fft_cpx> signal(size);
  kiss_fft(config.get(), points.data(), signal.data());
  std::vector<double> amplitude(values.size());
  for (std::size_t i = 0; i < amplitude.size(); ++i) {
    amplitude[i] = std::hypot(static_cast<double>(signal[i].r), static_cast<double>(signal[i].i));
  }
  return amplitude;
}

double band_noise_power(double rate_hz, double hz, double sd_hz) {
  // Over the frequencies 2 sigma^2 / rate lie densely; the analytic signal has twice that.
  const double reach = 1.0 / (sd_hz * std::numbers::sqrt2);
  const double share = 0.5 * (std::erf((rate_hz / 2.0 - hz) * reach * std::numbers::sqrt2) +
                              std::erf(hz * reach * std::numbers::sqrt2));
  return 4.0 / rate_hz * sd_hz * std::sqrt(std::numbers::pi) * share;
}

}  // namespace plexor::analysis
