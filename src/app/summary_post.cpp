#include "app/summary_post.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <optional>
#include <system_error>
#include <vector>

#include "app/aside.hpp"
#include "app/text_file.hpp"
#include "base/error.hpp"
#include "lines/lines.hpp"
#include "rig/network/http_post.hpp"
#include "rig/network/secret.hpp"
#include "run/file_replacement.hpp"

namespace plexor::app {

namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;
using lines::KernelInstant;

constexpr base::Duration patience_in_all = std::chrono::seconds{25};
constexpr base::Duration patience_for_one = std::chrono::seconds{4};
constexpr int most_tries = 3;
constexpr base::Duration pause = std::chrono::milliseconds{900};  // longer each time

/// What waits beside this run, the oldest first.
std::vector<fs::path> unsent_beside(const run::RunFolder& folder) {
  std::error_code none;
  std::vector<std::pair<fs::file_time_type, fs::path>> found;
  for (fs::directory_iterator entry(fs::absolute(folder.root).parent_path(), none), end;
       !none && entry != end; entry.increment(none)) {
    const fs::path file = run::RunFolder{entry->path()}.unsent_json();
    std::error_code absent;
    const auto written = fs::last_write_time(file, absent);
    if (!absent) found.emplace_back(written, file);
  }
  std::ranges::sort(found);
  std::vector<fs::path> files;
  files.reserve(found.size());
  for (auto& one : found) files.push_back(std::move(one.second));
  return files;
}

/// Nobody may be there for a moment.
std::optional<rig::NotTaken> post_patiently(const rig::PostSettings& to, const std::string& json,
                                            KernelInstant until) {
  std::optional<rig::NotTaken> trouble;
  for (int attempt = 1; attempt <= most_tries; ++attempt) {
    const base::Duration left = until - lines::kernel_now();
    if (left <= base::Duration::zero()) break;
    trouble = rig::post_json(to, json, std::min(left, patience_for_one));
    if (!trouble || trouble->is_refused || attempt == most_tries) return trouble;
    for (int nap = 0; nap < attempt; ++nap) lines::kernel_nap(pause);
  }
  return trouble ? trouble : rig::NotTaken{"there was no time left"};
}

void post_all(const rig::PostSettings& to, const std::vector<fs::path>& files) {
  const KernelInstant until = lines::kernel_now() + patience_in_all;
  for (const fs::path& file : files) {
    const auto trouble = post_patiently(to, read_text_file(file), until);
    if (!trouble) {
      fs::remove(file);
      continue;
    }
    say_aside("WARNING: [post] to {}:{}: {}; the summary waits in {} for the next run\n", to.host,
              to.port, trouble->why, file.string());
    if (!trouble->is_refused) return;  // nobody is there for the next ones either
  }
}

}  // namespace

Json summary_of(const std::string& folder, const analysis::Results& results,
                std::uint64_t messages_dropped) {
  return {{"overall", analysis::to_text(results.overall)},
          {"headline", results.headline},
          {"folder", folder},
          {"messages_dropped", messages_dropped}};
}

void check_post_settings(const rig::RigFile& rig) {
  if (rig.post && rig.post->token) (void)rig::read_secret(*rig.post->token);
}

void post_summary(const rig::RigFile& rig, const run::RunFolder& folder, const Json& summary) {
  if (!rig.post) return;
  try {
    run::replace_file(folder.unsent_json(),
                      summary.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n");
    post_all(*rig.post, unsent_beside(folder));
  } catch (const std::exception& trouble) {
    say_aside("WARNING: [post]: {}\n", trouble.what());
  }
}

}  // namespace plexor::app
