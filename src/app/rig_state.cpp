#include "app/rig_state.hpp"

#include <fmt/format.h>

#include <cctype>
#include <chrono>
#include <cstdlib>
#include <fstream>
#include <iterator>

#include "base/error.hpp"
#include "lines/lines.hpp"
#include "run/file_replacement.hpp"

namespace plexor::app {

namespace {

namespace fs = std::filesystem;

std::string text_if_there(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

fs::path state_folder() {
  const char* state = std::getenv("XDG_STATE_HOME");
  if (state != nullptr && *state != '\0') return fs::path(state) / "plexor";
  const char* home = std::getenv("HOME");
  if (home != nullptr && *home != '\0') return fs::path(home) / ".local/state/plexor";
  throw base::RigFault("no place for the coil's memory: neither XDG_STATE_HOME nor HOME is set");
}

/// A rig's name as a file's: other characters than letters and digits by their code, so that no
/// two names share a file.
std::string file_name_of(const std::string& name) {
  std::string file;
  for (const char c : name) {
    const auto byte = static_cast<unsigned char>(c);
    file += std::isalnum(byte) != 0 ? std::string(1, c) : fmt::format("_{:02x}", byte);
  }
  return file;
}

void make_folder_for(const fs::path& file) {
  std::error_code error;
  fs::create_directories(file.parent_path(), error);
  if (error) throw base::RigFault(file.parent_path().string() + ": " + error.message());
}

bool is_device(const fs::path& chip) {
  std::error_code none;
  return fs::is_character_file(chip, none);
}

}  // namespace

safety::BootMoment boot_now() {
  std::ifstream in("/proc/sys/kernel/random/boot_id");
  std::string id;
  std::getline(in, id);
  return {id, lines::kernel_now().time_since_epoch() + lines::suspended_so_far()};
}

fs::path coil_file_beside(const fs::path& chip) {
  // One chip has one coil, by whichever path it is reached.
  return fs::weakly_canonical(chip).string() + "-coil.toml";
}

RigState::RigState(const rig::RigFile& rig) {
  const fs::path folder = state_folder();
  const fs::path name = file_name_of(rig.name);
  const fs::path chip = rig.wiring ? rig.wiring->chip : std::string{};
  coil_ = is_device(chip) ? folder / "coils" / (name.string() + ".toml") : coil_file_beside(chip);
  ticket_ = folder / "tickets" / (name.string() + ".toml");
  cautions_ = folder / "cautions-shown";
}

std::string RigState::coil_text() const { return text_if_there(coil_); }

void RigState::keep_coil(const safety::CoilMemory& memory) const {
  make_folder_for(coil_);
  run::replace_file(coil_, to_text(memory));
}

std::string RigState::ticket_text() const { return text_if_there(ticket_); }

void RigState::keep_ticket(const std::string& text) const {
  make_folder_for(ticket_);
  run::replace_file(ticket_, text);
}

void RigState::drop_ticket() const {
  std::error_code none;
  fs::remove(ticket_, none);
}

bool RigState::cautions_were_shown() const { return fs::exists(cautions_); }

void RigState::keep_that_cautions_were_shown() const {
  make_folder_for(cautions_);
  run::replace_file(cautions_, "The cautions were shown to a person of this account.\n");
}

}  // namespace plexor::app
