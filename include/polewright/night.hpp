// `check`: a folder of frames in, a night's account out. Owned by the session stage.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "polewright/check.hpp"
#include "polewright/session.hpp"

namespace polewright {

struct CheckOptions {
  SessionOptions session;  ///< tolerance, optics, site, clock zone; `threads` is the number of jobs
  bool recursive = false;  ///< also the folders inside the folders
  bool use_cache = true;
  std::optional<std::filesystem::path> cache_file;  ///< default: polewright/frames.sqlite in the XDG cache folder
  /// Frames per sequence whose stars are identified for the axis; more cost time and add little (the mount's own
  /// unevenness, not the number of frames, sets the limit).
  std::size_t most_identified = 40;
  /// Asked now and then from any thread; true ends the run with the error `cancelled`. What was measured stays cached.
  std::function<bool()> stop;
};

/// Files, folders and wildcard patterns -> every frame judged and the night explained. A file that cannot be read is
/// told in the report and the rest goes on. Errors: file_missing (nothing there that looks like a frame), cancelled,
/// option_invalid.
[[nodiscard]] Result<CheckReport> check(const std::vector<std::filesystem::path>& inputs, const CheckOptions& options,
                                        const Progress& progress = {});

enum class FileAction { move, copy };

/// What happened, or would happen, to one file.
struct FileMoved {
  std::string from, to;
  std::string problem;  ///< empty when done (or when it could be done)
};

struct SortOptions {
  bool rehearse = false;  ///< nothing is touched
  Progress progress;
  std::function<bool()> stop;  ///< asked before each frame; true ends in order
};

struct FilesSorted {
  std::vector<FileMoved> files;  ///< those that were tried
  Status ended;                  ///< why not all were: write_failed (no folder to put them in), cancelled
};

/// Moves or copies the files of all frames with one of these verdicts, companions included, into `folder` (made when
/// missing). An existing file is never overwritten: that frame stays where it is with its companions, and the problem
/// says so. A program killed meanwhile leaves every file whole under its old name or its new one, and the next run
/// finishes.
[[nodiscard]] FilesSorted sort_files(const CheckReport& report, const std::vector<Verdict>& verdicts,
                                     const std::filesystem::path& folder, FileAction action,
                                     const SortOptions& options = {});

}  // namespace polewright
