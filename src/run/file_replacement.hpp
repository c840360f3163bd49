#pragma once

#include <filesystem>
#include <fstream>
#include <string_view>

namespace plexor::run {

/// Writes a file beside its final name and renames it at the end: readers see
/// the old or the new content, never a part. Dropped unless committed. All
/// functions throw base::RigFault naming the file and the reason.
class FileReplacement {
 public:
  explicit FileReplacement(std::filesystem::path path);
  ~FileReplacement();
  FileReplacement(const FileReplacement&) = delete;
  FileReplacement& operator=(const FileReplacement&) = delete;

  void write(std::string_view bytes);
  void commit();

 private:
  [[noreturn]] void fail(const std::string& reason) const;

  std::filesystem::path path_;
  std::filesystem::path fresh_;
  std::ofstream out_;
};

/// The whole content at once.
void replace_file(const std::filesystem::path& path, std::string_view content);

}  // namespace plexor::run
