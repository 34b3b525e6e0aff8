#include "session/night_inputs.hpp"

#include <fmt/format.h>
#include <glob.h>
#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <cerrno>
#include <cstring>
#include <map>
#include <set>

#include "polewright/frame.hpp"

namespace polewright::session {
namespace {

namespace fs = std::filesystem;

class Collector {
 public:
  explicit Collector(bool recursive) : recursive_(recursive) {}

  void take(const fs::path& typed) {
    std::error_code failed;
    if (fs::is_directory(typed, failed))
      take_folder(typed);
    else if (fs::exists(typed, failed))
      add(typed);
    else
      take_pattern(typed);
  }

  NightInputs finish() {
    std::sort(files_.begin(), files_.end(), [](const fs::path& a, const fs::path& b) {
      if (a.parent_path() != b.parent_path()) return natural_less(a.parent_path().string(), b.parent_path().string());
      return natural_less(a.filename().string(), b.filename().string());
    });
    // Same folder, same name but for the ending: one exposure in several forms. Two files of the same form are two.
    std::map<std::string, std::vector<std::size_t>> by_stem;
    for (const fs::path& file : files_) {
      auto& same = by_stem[(file.parent_path() / lower(file.stem().string())).string()];
      const int rank = rank_of(file);
      const auto twin =
          std::find_if(same.begin(), same.end(), [&](std::size_t i) { return joins(out_.exposures[i], rank); });
      if (twin == same.end()) {
        same.push_back(out_.exposures.size());
        out_.exposures.push_back({file, {}});
        continue;
      }
      NightInput& exposure = out_.exposures[*twin];
      exposure.companions.push_back(file);
      if (rank < rank_of(exposure.file)) std::swap(exposure.file, exposure.companions.back());
    }
    return std::move(out_);
  }

 private:
  static bool joins(const NightInput& exposure, int rank) {
    return rank_of(exposure.file) != rank && std::none_of(exposure.companions.begin(), exposure.companions.end(),
                                                          [&](const auto& c) { return rank_of(c) == rank; });
  }

  void add(const fs::path& file) {
    std::error_code failed;
    const fs::path canonical = fs::weakly_canonical(file, failed);
    if (seen_.insert(failed ? file : canonical).second) files_.push_back(file);
  }

  void warn(const fs::path& path, const std::string& what) {
    out_.warnings.push_back(fmt::format("{}: {}", path.string(), what));
  }

  void consider(const fs::path& file) {
    if (looks_like_frame(file)) {
      add(file);
      return;
    }
    ++out_.other_files;
    if (::access(file.c_str(), R_OK) != 0) warn(file, fmt::format("left out: {}", std::strerror(errno)));
  }

  static bool hidden(const fs::path& path) {
    const std::string name = path.filename().string();
    return !name.empty() && name.front() == '.';
  }

  /// Folders inside are entered when asked for, but not through links: those may lead round in a circle.
  void take_folder(const fs::path& folder) {
    std::error_code failed, ignored;
    for (fs::directory_iterator it(folder, failed), end; !failed && it != end; it.increment(failed)) {
      if (hidden(it->path())) continue;
      if (it->is_regular_file(ignored))
        consider(it->path());
      else if (recursive_ && it->is_directory(ignored) && !it->is_symlink(ignored))
        take_folder(it->path());
    }
    if (failed) warn(folder, fmt::format("could not be read to the end: {}", failed.message()));
  }

  void take_pattern(const fs::path& typed) {
    glob_t found{};
    const int result = ::glob(typed.c_str(), 0, nullptr, &found);
    for (std::size_t i = 0; result == 0 && i < found.gl_pathc; ++i) {
      const fs::path match(found.gl_pathv[i]);
      std::error_code failed;
      if (fs::is_directory(match, failed))
        take_folder(match);
      else
        add(match);
    }
    ::globfree(&found);
    if (result != 0) warn(typed, "left out: there is no such file or folder, and no file whose name fits this pattern");
  }

  bool recursive_;
  std::set<fs::path> seen_;
  std::vector<fs::path> files_;
  NightInputs out_;
};

}  // namespace

std::string lower(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return text;
}

int rank_of(const fs::path& file) {
  const std::string ext = lower(file.extension().string());
  if (ext == ".jpg" || ext == ".jpeg") return 3;
  if (ext == ".tif" || ext == ".tiff" || ext == ".png") return 2;
  if (ext == ".fit" || ext == ".fits" || ext == ".fts" || ext == ".fz" || ext == ".gz") return 1;
  return 0;
}

bool natural_less(const std::string& a, const std::string& b) {
  const auto digit = [](char c) { return c >= '0' && c <= '9'; };
  std::size_t i = 0, j = 0;
  while (i < a.size() && j < b.size()) {
    if (digit(a[i]) && digit(b[j])) {
      std::size_t i0 = i, j0 = j;
      while (i0 < a.size() && a[i0] == '0') ++i0;
      while (j0 < b.size() && b[j0] == '0') ++j0;
      std::size_t i1 = i0, j1 = j0;
      while (i1 < a.size() && digit(a[i1])) ++i1;
      while (j1 < b.size() && digit(b[j1])) ++j1;
      if (i1 - i0 != j1 - j0) return i1 - i0 < j1 - j0;
      if (const int order = a.compare(i0, i1 - i0, b, j0, j1 - j0); order != 0) return order < 0;
      i = i1;
      j = j1;
      continue;
    }
    if (a[i] != b[j]) return static_cast<unsigned char>(a[i]) < static_cast<unsigned char>(b[j]);
    ++i;
    ++j;
  }
  if (i == a.size() && j == b.size()) return a < b;
  return a.size() - i < b.size() - j;
}

Result<NightInputs> collect_inputs(const std::vector<std::filesystem::path>& typed, bool recursive) {
  Collector collector(recursive);
  for (const fs::path& path : typed) collector.take(path);
  NightInputs inputs = collector.finish();
  if (!inputs.exposures.empty()) return inputs;
  const std::string others = fmt::format("{} other file{}", inputs.other_files, inputs.other_files == 1 ? "" : "s");
  if (typed.empty())
    return Error{ErrorCode::file_missing, "", "no name was given", "names of frames, one a line or separated by NUL",
                 "Check the command that should list them"};
  if (!inputs.warnings.empty())
    return Error{ErrorCode::file_missing, "", fmt::format("no frame found ({}); {}", others, inputs.warnings.front()),
                 "raw, FITS, TIFF, PNG or JPEG frames that may be read", "Check the name"};
  return Error{ErrorCode::file_missing, typed.front().string(), fmt::format("holds no frame ({})", others),
               "raw, FITS, TIFF, PNG or JPEG frames",
               recursive ? "Check the name" : "Check the name, or search the folders inside with --recursive"};
}

}  // namespace polewright::session
