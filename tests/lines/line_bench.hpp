#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>

#include "lines/lines.hpp"
#include "lines/virtual_chip.hpp"

namespace plexor::lines {

/// A chip under test and its outside: what an adapter must stand beside.
class LineBench {
 public:
  virtual ~LineBench() = default;
  [[nodiscard]] virtual std::string chip() const = 0;
  /// The outside drives an input's voltage, or looks at an output's.
  virtual void drive(std::uint32_t offset, bool high) = 0;
  [[nodiscard]] virtual bool is_high(std::uint32_t offset) = 0;
  /// What an owner drove an output to last; false if none ever did. Once he has let go, is_high
  /// says what the chip makes of that line, and this what he made of it.
  [[nodiscard]] virtual bool last_driven_high(std::uint32_t offset) = 0;
};

/// A virtual chip in a file of its own.
class VirtualBench final : public LineBench {
 public:
  VirtualBench()
      : folder_(make_folder()), chip_(VirtualChip::create((folder_ / "chip").string())) {}
  ~VirtualBench() override { std::filesystem::remove_all(folder_); }
  VirtualBench(const VirtualBench&) = delete;
  VirtualBench& operator=(const VirtualBench&) = delete;

  [[nodiscard]] std::string chip() const override { return chip_.file(); }
  void drive(std::uint32_t offset, bool high) override { chip_.drive(offset, high); }
  [[nodiscard]] bool is_high(std::uint32_t offset) override { return chip_.is_high(offset); }
  /// Here a line keeps its level.
  [[nodiscard]] bool last_driven_high(std::uint32_t offset) override { return is_high(offset); }
  [[nodiscard]] VirtualChip& outside() { return chip_; }

 private:
  static std::filesystem::path make_folder() {
    std::string name = (std::filesystem::temp_directory_path() / "plexor-lines-XXXXXX").string();
    if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder");
    return name;
  }
  std::filesystem::path folder_;
  VirtualChip chip_;
};

}  // namespace plexor::lines
