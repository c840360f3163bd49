#include <fmt/format.h>

#include <condition_variable>
#include <mutex>
#include <system_error>
#include <thread>

#include "base/error.hpp"
#include "journal/parts.hpp"
#include "journal/sink.hpp"

namespace plexor::journal {
namespace {

/// Packs finished parts on a thread of its own, so that no trial waits for it. A part that can't be
/// packed stays as it is: nothing is lost but room.
class BackgroundPacker {
 public:
  ~BackgroundPacker() {
    if (!thread_.joinable()) return;
    {
      const std::scoped_lock lock(mutex_);
      over_ = true;
    }
    changed_.notify_one();
    thread_.join();
  }
  BackgroundPacker() = default;
  BackgroundPacker(const BackgroundPacker&) = delete;
  BackgroundPacker& operator=(const BackgroundPacker&) = delete;

  void add(Part part) {
    {
      const std::scoped_lock lock(mutex_);
      parts_.push_back(std::move(part));
    }
    changed_.notify_one();
    if (!thread_.joinable()) thread_ = std::thread([this] { work(); });
  }

 private:
  void work() {
    while (const auto part = take()) {
      try {
        pack(*part);
      } catch (const std::runtime_error&) {  // it is tried again when the run goes on
      }
    }
  }
  std::optional<Part> take() {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return over_ || !parts_.empty(); });
    if (parts_.empty()) return std::nullopt;
    Part part = std::move(parts_.front());
    parts_.pop_front();
    return part;
  }

  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<Part> parts_;
  bool over_ = false;
  std::thread thread_;
};

/// The journal's newest file, which becomes a finished part when it is long enough. What is written
/// at once stays together.
class PartedFile final : public Sink {
 public:
  PartedFile(std::filesystem::path journal, std::unique_ptr<Sink> newest, std::uint64_t bytes,
             std::uint64_t longest)
      : journal_(std::move(journal)), newest_(std::move(newest)), bytes_(bytes), longest_(longest) {
    for (Part& part : finished_parts(journal_)) {
      next_ = part.number + 1;
      if (!part.is_packed) packer_.add(std::move(part));
    }
  }

  void write(std::string_view bytes) override {
    if (bytes_ > 0 && bytes_ + bytes.size() > longest_) begin_part();
    newest_->write(bytes);
    bytes_ += bytes.size();
  }
  void sync() override { newest_->sync(); }

 private:
  void begin_part() {
    newest_->sync();
    Part part{next_++, part_file(journal_, next_ - 1, false), false};
    std::error_code error;
    std::filesystem::rename(journal_, part.file, error);
    if (error) throw file_fault("name", part.file, error.value());
    newest_ = create_to_append(journal_, "the journal");  // makes the new name durable too
    bytes_ = 0;
    packer_.add(std::move(part));
  }

  std::filesystem::path journal_;
  std::unique_ptr<Sink> newest_;
  std::uint64_t bytes_;
  std::uint64_t longest_;
  std::uint32_t next_ = 1;
  BackgroundPacker packer_;
};

}  // namespace

std::unique_ptr<Sink> create_journal_file(const std::filesystem::path& path,
                                          std::uint64_t longest_part) {
  return std::make_unique<PartedFile>(path, create_to_append(path, "the journal"), 0, longest_part);
}

std::unique_ptr<Sink> open_journal_file(const std::filesystem::path& path,
                                        std::uint64_t longest_part) {
  std::error_code none;
  const bool was_cut_between_files =
      !std::filesystem::exists(path, none) && !finished_parts(path).empty();
  auto newest = was_cut_between_files ? create_to_append(path, "the journal")
                                      : open_to_append(path, "the journal");
  const auto bytes = std::filesystem::file_size(path, none);
  return std::make_unique<PartedFile>(path, std::move(newest), none ? 0 : bytes, longest_part);
}

std::vector<std::filesystem::path> files_of_journal(const std::filesystem::path& path) {
  std::vector<std::filesystem::path> files;
  for (Part& part : finished_parts(path)) files.push_back(std::move(part.file));
  std::error_code none;
  if (std::filesystem::exists(path, none)) files.push_back(path);
  return files;
}

}  // namespace plexor::journal
