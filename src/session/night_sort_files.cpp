// Which files go where; transfer.cpp moves them.
#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "polewright/night.hpp"
#include "session/transfer.hpp"

namespace polewright {
namespace {

namespace fs = std::filesystem;
using session::transfer;
using session::transfer_refused;

/// The files of one exposure, the measured one last: as long as it has not moved, the next run finds the exposure.
/// Those that lie in the folder already, because it is inside the night's, have nowhere to go.
std::vector<FileMoved> files_of(const CheckFrame& frame, const fs::path& folder) {
  std::vector<FileMoved> out;
  const auto add = [&](const fs::path& from) {
    std::error_code failed;
    if (!fs::equivalent(from.has_parent_path() ? from.parent_path() : ".", folder, failed))
      out.push_back({from.string(), (folder / from.filename()).string(), {}});
  };
  for (const std::string& name : frame.companions) add(name);
  add(frame.file);
  return out;
}

/// Fills in the problems that can be seen beforehand. A raw and its JPEG stay together: when one may not move, none
/// does.
void foresee(std::vector<FileMoved>& files, std::set<std::string>& taken, FileAction action) {
  std::string in_the_way;
  for (FileMoved& f : files) {
    f.problem = transfer_refused(f.from, f.to, action);
    if (!f.problem.empty() && action == FileAction::move) in_the_way = fs::path(f.to).filename().string();
  }
  for (FileMoved& f : files) {
    if (!f.problem.empty()) continue;
    if (!in_the_way.empty())
      f.problem = fmt::format("stays with {}, which exists there already", in_the_way);
    else if (!taken.insert(f.to).second)  // a second frame of one name, or a copy
      f.problem = "exists already";
  }
}

Status make_folder(const fs::path& folder, bool rehearse) {
  std::error_code failed;
  if (fs::exists(folder, failed) && !fs::is_directory(folder, failed))
    return Error{ErrorCode::write_failed, folder.string(), "is no folder", "a folder, or a name that is free",
                 "Choose another place; no file was touched"};
  if (rehearse) return {};
  fs::create_directories(folder, failed);
  if (!failed) return {};
  return Error{ErrorCode::write_failed, folder.string(), "could not be made: " + failed.message(), "a writable place",
               "Choose another place; no file was touched"};
}

}  // namespace

FilesSorted sort_files(const CheckReport& report, const std::vector<Verdict>& verdicts, const fs::path& folder,
                       FileAction action, const SortOptions& options) {
  FilesSorted out;
  if ((out.ended = make_folder(folder, options.rehearse))) return out;
  std::vector<const CheckFrame*> chosen;
  for (const CheckFrame& frame : report.frames)
    if (std::find(verdicts.begin(), verdicts.end(), frame.finding.verdict) != verdicts.end()) chosen.push_back(&frame);
  const char* step = action == FileAction::move ? "moving frames" : "copying frames";
  std::set<std::string> taken;
  for (std::size_t i = 0; i < chosen.size(); ++i) {
    if (options.stop && options.stop()) {
      out.ended = Error{ErrorCode::cancelled, "", fmt::format("stopped {} after {} of {}", step, i, chosen.size()),
                        "all of them", "Run the same command again for the rest"};
      return out;
    }
    if (options.progress) options.progress(step, i, chosen.size());
    std::vector<FileMoved> files = files_of(*chosen[i], folder);
    foresee(files, taken, action);
    for (FileMoved& f : files) {
      if (f.problem.empty() && !options.rehearse) f.problem = transfer(f.from, f.to, action);
      out.files.push_back(std::move(f));
    }
  }
  if (!options.rehearse) session::tidy_after_killed(folder);
  return out;
}

}  // namespace polewright
