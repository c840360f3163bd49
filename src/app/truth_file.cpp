#include "app/truth_file.hpp"

#include <fmt/format.h>

#include <string>

#include "report/csv.hpp"

namespace plexor::app {

TruthFile::TruthFile(const std::filesystem::path& path) : file_(path) {
  file_.write("at_s,kind,firing,tap,speed_m_s,peak_force_n,contact_ms,coil_c,name\r\n");
}

void TruthFile::append(const virtual_rig::Truth& truth) {
  const std::int64_t ns = truth.at.time_since_epoch().count();
  const bool by_plunger = truth.kind != virtual_rig::Truth::Kind::disturbance;
  std::string row = fmt::format("{}.{:09},{},{}", ns / 1'000'000'000, ns % 1'000'000'000,
                                to_text(truth.kind), truth.firing);
  row += by_plunger ? fmt::format(",{},{:.6f},{:.3f},{:.6f},{:.2f},", truth.tap, truth.speed_m_s,
                                  truth.peak_force_n, truth.contact_s * 1e3, truth.coil_c)
                    : ",,,,,,";
  report::append_text(row, truth.name);
  file_.write(row + "\r\n");
}

void TruthFile::finish() { file_.commit(); }

}  // namespace plexor::app
