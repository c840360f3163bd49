#include <fcntl.h>
#include <gmock/gmock.h>
#include <sched.h>
#include <sys/mount.h>

#include <cerrno>
#include <cstring>

#include "base/error.hpp"
#include "journal/sample_journal.hpp"

namespace plexor::journal {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::ThrowsMessage;

/// A small disk of one test; nothing where mounting is not allowed. The mount
/// is in a namespace of this process alone and ends with it.
class SmallDisk {
 public:
  explicit SmallDisk(const std::filesystem::path& at) : at_(at) {
    mounted_ = ::unshare(CLONE_NEWNS) == 0 &&
               ::mount(nullptr, "/", nullptr, MS_REC | MS_PRIVATE, nullptr) == 0 &&
               ::mount("tmpfs", at.c_str(), "tmpfs", 0, "size=128k") == 0;
    if (!mounted_) reason_ = std::strerror(errno);
  }
  ~SmallDisk() {
    if (mounted_) ::umount2(at_.c_str(), MNT_DETACH);
  }
  SmallDisk(const SmallDisk&) = delete;
  SmallDisk& operator=(const SmallDisk&) = delete;

  bool mounted() const { return mounted_; }
  const std::string& reason() const { return reason_; }
  bool make_read_only() const {
    return ::mount(nullptr, at_.c_str(), nullptr, MS_REMOUNT | MS_RDONLY, nullptr) == 0;
  }

 private:
  std::filesystem::path at_;
  bool mounted_ = false;
  std::string reason_;
};

TEST(FullDisk, StopsTheWriterAndKeepsWhatWasDurable) {
  const TestFolder folder;
  const SmallDisk disk(folder.path());
  if (!disk.mounted()) GTEST_SKIP() << "no small disk can be mounted here: " << disk.reason();
  const auto path = folder / "journal.jsonl";
  Writer writer(create_journal_file(path));
  const auto write_on = [&] {
    writer.append(Header{});
    while (true) {
      writer.append(heard("call"));
      writer.sync();
    }
  };
  EXPECT_THAT(write_on, ThrowsMessage<base::RigFault>(AllOf(HasSubstr("journal.jsonl"),
                                                            HasSubstr("No space left"),
                                                            HasSubstr("free some space"))));
  const ReadSummary summary = read_file(path).summary;
  EXPECT_GE(summary.records, writer.durable());
  EXPECT_GT(writer.durable(), 500U);
  EXPECT_LE(summary.damage_count, 1U);
}

TEST(FullDisk, IsNamedWithFileReasonAndRemedy) {
  if (!std::filesystem::exists("/dev/full")) GTEST_SKIP() << "this system has no /dev/full";
  Writer writer(open_journal_file("/dev/full"));
  writer.append(Header{});
  EXPECT_THAT([&] { writer.sync(); },
              ThrowsMessage<base::RigFault>("cannot write /dev/full: No space left on device; "
                                            "free some space on that disk"));
}

TEST(ReadOnlyFolder, TakesNoJournal) {
  const TestFolder folder;
  const SmallDisk disk(folder.path());
  if (!disk.mounted() || !disk.make_read_only()) {
    GTEST_SKIP() << "no read-only folder can be made here: " << disk.reason();
  }
  EXPECT_THAT([&] { (void)create_journal_file(folder / "journal.jsonl"); },
              ThrowsMessage<base::RigFault>(AllOf(HasSubstr("Read-only file system"),
                                                  HasSubstr("choose a folder that can be"))));
}

TEST(JournalFile, NeedsAFolder) {
  const TestFolder folder;
  write_bytes(folder / "mug", "");
  EXPECT_THAT([&] { (void)create_journal_file(folder / "mug/journal.jsonl"); },
              ThrowsMessage<base::RigFault>(HasSubstr("Not a directory")));
  EXPECT_THAT([&] { (void)create_journal_file(folder / "none/journal.jsonl"); },
              ThrowsMessage<base::RigFault>(HasSubstr("choose a folder that exists")));
}

TEST(JournalFile, IsNeverOverwritten) {
  const TestFolder folder;
  write_bytes(folder / "journal.jsonl", "precious");
  EXPECT_THAT([&] { (void)create_journal_file(folder / "journal.jsonl"); },
              ThrowsMessage<base::RigFault>(HasSubstr("never overwritten")));
  EXPECT_EQ(bytes_of(folder / "journal.jsonl"), "precious");
}

TEST(JournalFile, IsNotCreatedByOpeningItToAppend) {
  const TestFolder folder;
  EXPECT_THROW((void)open_journal_file(folder / "journal.jsonl"), base::RigFault);
  EXPECT_FALSE(std::filesystem::exists(folder / "journal.jsonl"));
}

}  // namespace
}  // namespace plexor::journal
