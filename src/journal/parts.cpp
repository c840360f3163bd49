#include "journal/parts.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <map>
#include <system_error>
#include <utility>

#include "base/error.hpp"

namespace plexor::journal {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view packed_ending = ".gz";

/// "journal.0012.jsonl" -> 12; nothing for another name.
std::optional<std::uint32_t> number_in(std::string_view name, const fs::path& journal) {
  const std::string before = journal.stem().string() + ".";
  const std::string after = journal.extension().string();
  if (!name.starts_with(before) || !name.ends_with(after)) return std::nullopt;
  if (name.size() <= before.size() + after.size()) return std::nullopt;
  name.remove_prefix(before.size());
  name.remove_suffix(after.size());
  std::uint32_t number = 0;
  const auto [end, error] = std::from_chars(name.data(), name.data() + name.size(), number);
  const bool is_whole = error == std::errc{} && end == name.data() + name.size();
  return is_whole && number > 0 ? std::optional(number) : std::nullopt;
}

struct Identity {
  dev_t device = 0;
  ino_t inode = 0;
  off_t bytes = 0;
};
std::optional<Identity> identity_of(int descriptor) {
  struct stat facts {};
  if (::fstat(descriptor, &facts) != 0) return std::nullopt;
  return Identity{facts.st_dev, facts.st_ino, facts.st_size};
}
bool is_same_file(const fs::path& path, const Identity& other) {
  struct stat facts {};
  return ::stat(path.c_str(), &facts) == 0 && facts.st_dev == other.device &&
         facts.st_ino == other.inode;
}

/// gzip's own writer, closed however it ends.
class Packer {
 public:
  explicit Packer(const fs::path& path) : path_(path), file_(gzopen(path.c_str(), "wb6")) {
    if (file_ == nullptr) throw file_fault("create", path_, errno);
  }
  ~Packer() {
    if (file_ != nullptr) gzclose(file_);
  }
  Packer(const Packer&) = delete;
  Packer& operator=(const Packer&) = delete;

  void write(std::string_view bytes) {
    if (gzwrite(file_, bytes.data(), static_cast<unsigned>(bytes.size())) <= 0) {
      throw file_fault("write", path_, errno != 0 ? errno : ENOSPC);
    }
  }
  void close() {
    if (gzclose(std::exchange(file_, nullptr)) != Z_OK) {
      throw file_fault("write", path_, errno != 0 ? errno : ENOSPC);
    }
  }

 private:
  const fs::path& path_;
  gzFile file_;
};

}  // namespace

fs::path part_file(const fs::path& journal, std::uint32_t number, bool is_packed) {
  return journal.parent_path() / fmt::format("{}.{:04}{}{}", journal.stem().string(), number,
                                             journal.extension().string(),
                                             is_packed ? packed_ending : "");
}

std::vector<Part> finished_parts(const fs::path& journal) {
  std::map<std::uint32_t, Part> by_number;
  std::error_code none;
  const fs::path folder = journal.has_parent_path() ? journal.parent_path() : fs::path{"."};
  for (fs::directory_iterator entry(folder, none), end; !none && entry != end;
       entry.increment(none)) {
    std::string name = entry->path().filename().string();
    const bool is_packed = name.ends_with(packed_ending);
    if (is_packed) name.resize(name.size() - packed_ending.size());
    const auto number = number_in(name, journal);
    if (!number) continue;
    Part part{*number, part_file(journal, *number, is_packed), is_packed};
    const bool is_ours = part.file.filename() == entry->path().filename();  // not journal.7.jsonl
    if (!is_ours || !entry->is_regular_file(none)) continue;
    const auto known = by_number.find(*number);
    if (known == by_number.end() || known->second.is_packed) {
      by_number.insert_or_assign(*number, std::move(part));
    }
  }
  std::vector<Part> parts;
  parts.reserve(by_number.size());
  for (auto& [number, part] : by_number) parts.push_back(std::move(part));
  return parts;
}

void pack(const Part& part) {
  fs::path packed = part.file;
  packed += packed_ending;
  fs::path fresh = packed;
  fresh += ".new";
  {
    const File plain = File::open(part.file, O_RDONLY);
    if (!plain) throw file_fault("read", part.file, errno);
    Packer packer(fresh);
    std::array<char, std::size_t{64} << 10> block{};
    while (const std::size_t got =
               read_some(plain, part.file, "a part of a journal", block.data(), block.size())) {
      packer.write({block.data(), got});
    }
    packer.close();
  }
  cut_and_keep(fresh, std::nullopt, "a part of the journal");
  std::error_code error;
  fs::rename(fresh, packed, error);
  if (error) throw file_fault("name", packed, error.value());
  sync_folder_of(packed);
  fs::remove(part.file, error);
}

/// One part that is being read, plain or packed: zlib takes both.
class PartsReader::Unpacker {
 public:
  explicit Unpacker(const fs::path& path) : file_(gzopen(path.c_str(), "rb")) {}
  ~Unpacker() {
    if (file_ != nullptr) gzclose(file_);
  }
  Unpacker(const Unpacker&) = delete;
  Unpacker& operator=(const Unpacker&) = delete;

  explicit operator bool() const { return file_ != nullptr; }
  /// Negative: damaged.
  [[nodiscard]] int read(char* to, std::size_t room) {
    return gzread(file_, to, static_cast<unsigned>(std::min(room, std::size_t{1} << 20)));
  }
  [[nodiscard]] double bytes_taken() const { return static_cast<double>(gzoffset(file_)); }
  /// The stream broke off before its end.
  [[nodiscard]] bool is_damaged() const {
    int error = Z_OK;
    gzerror(file_, &error);
    return error != Z_OK && error != Z_STREAM_END;
  }

 private:
  gzFile file_;
};

PartsReader::PartsReader(const fs::path& journal, std::string_view wanted)
    : wanted_(wanted), journal_(journal) {
  // First the newest, then the list: what is finished in between is found in both.
  std::error_code none;
  std::vector<Part> parts;
  if (fs::exists(journal, none) || finished_parts(journal).empty()) {
    newest_.emplace(open_to_read(journal, wanted));
    parts = finished_parts(journal);
    const auto newest = identity_of(newest_->descriptor());
    const auto again = std::ranges::find_if(
        parts, [&](const Part& part) { return newest && is_same_file(part.file, *newest); });
    parts.erase(again, parts.end());
    if (newest) size_ += static_cast<double>(newest->bytes);
  } else {
    parts = finished_parts(journal);  // cut off between two files
  }
  for (Part& part : parts) {
    const auto bytes = fs::file_size(part.file, none);
    if (!none) size_ += static_cast<double>(bytes);
    parts_.push_back(std::move(part));
  }
}

PartsReader::~PartsReader() = default;

void PartsReader::open_part() {
  const Part& part = parts_.front();
  part_ = std::make_unique<Unpacker>(part.file);
  if (!*part_) {  // packed since it was listed
    part_ = std::make_unique<Unpacker>(part_file(journal_, part.number, true));
  }
  if (!*part_) {
    throw base::InputError({.file = part.file.string()}, base::last_reason(), wanted_);
  }
}

/// 0 where the part ends.
std::size_t PartsReader::read_part(char* to, std::size_t room) {
  if (!part_) open_part();
  const double before = part_->bytes_taken();
  const int got = part_->read(to, room);
  read_ += part_->bytes_taken() - before;
  if (got > 0) return static_cast<std::size_t>(got);
  const bool is_damaged = got < 0 || part_->is_damaged();
  part_.reset();
  parts_.pop_front();
  // A line that can't be good, so that whoever reads names it with its place.
  static constexpr std::string_view broken = "\n(a packed part that can't be unpacked)\n";
  return is_damaged ? broken.copy(to, room) : 0;
}

std::size_t PartsReader::read(char* to, std::size_t room) {
  while (!parts_.empty()) {
    if (const std::size_t got = read_part(to, room)) {
      before_newest_ += got;
      return got;
    }
  }
  if (!newest_) return 0;
  const std::size_t got = read_some(*newest_, journal_, wanted_, to, room);
  read_ += static_cast<double>(got);
  return got;
}

double PartsReader::share_read() const { return size_ > 0.0 ? std::min(1.0, read_ / size_) : 0.0; }

}  // namespace plexor::journal
