#include "app/truth_file.hpp"

#include <fmt/format.h>

namespace plexor::app {

namespace {

constexpr std::size_t write_from = 1U << 16U;

/// A name may hold what CSV needs quoted (RFC 4180), or what a terminal would obey.
std::string quoted(std::string_view name) {
  std::string out = "\"";
  for (const char c : name) {
    const bool is_control = static_cast<unsigned char>(c) < ' ';
    out += c == '"' ? "\"\"" : std::string(1, is_control ? ' ' : c);
  }
  return name.empty() ? "" : out + '"';
}

}  // namespace

TruthFile::TruthFile(const std::filesystem::path& path)
    : file_(path),
      buffer_("at_s,kind,firing,tap,speed_m_s,peak_force_n,contact_ms,coil_c,name\r\n") {}

void TruthFile::append(const virtual_rig::Truth& truth) {
  const std::int64_t ns = truth.at.time_since_epoch().count();
  const bool by_plunger = truth.kind != virtual_rig::Truth::Kind::disturbance;
  buffer_ += fmt::format("{}.{:09},{},{}", ns / 1'000'000'000, ns % 1'000'000'000,
                         to_text(truth.kind), truth.firing);
  buffer_ += by_plunger ? fmt::format(",{},{:.6f},{:.3f},{:.6f},{:.2f}", truth.tap, truth.speed_m_s,
                                      truth.peak_force_n, truth.contact_s * 1e3, truth.coil_c)
                        : ",,,,,";
  buffer_ += fmt::format(",{}\r\n", quoted(truth.name));
  if (buffer_.size() < write_from) return;
  file_.write(buffer_);
  buffer_.clear();
}

void TruthFile::finish() {
  file_.write(buffer_);
  file_.commit();
}

}  // namespace plexor::app
