#include "session/together.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

namespace polewright::session {
namespace {

Error same_twice(const std::string& file, const std::string& other) {
  return {ErrorCode::same_frame_twice, file, "holds the same picture as " + other,
          "two frames taken some minutes apart", "Give the second test frame as well"};
}

}  // namespace

Status check_paths(const std::vector<std::filesystem::path>& paths) {
  if (paths.size() < 2)
    return Error{ErrorCode::too_few_frames, paths.empty() ? "" : paths.front().string(),
                 paths.empty() ? "no frame was given" : "is the only frame given",
                 "two or more frames of one pointing, taken some minutes apart",
                 "Leave the mount tracking and shoot a second frame about three minutes after the first"};
  std::set<std::filesystem::path> seen;
  for (const auto& path : paths) {
    std::error_code ignored;
    const auto canonical = std::filesystem::weakly_canonical(path, ignored);
    if (!seen.insert(ignored ? path : canonical).second)
      return same_twice(path.string(), "itself: the name was given twice");
  }
  return {};
}

Result<std::vector<MeasuredFrame>> load_all(const std::vector<std::filesystem::path>& paths,
                                            const SessionOptions& options, const Progress& progress,
                                            std::vector<std::string>& warnings) {
  std::vector<MeasuredFrame> frames;
  std::optional<Error> first_error;
  for (std::size_t i = 0; i < paths.size(); ++i) {
    if (progress) progress("reading and finding stars", i, paths.size());
    Result<MeasuredFrame> frame = load(paths[i], options);
    if (frame) {
      frames.push_back(std::move(*frame));
      continue;
    }
    if (!first_error) first_error = frame.error();
    warnings.push_back("left out: " + frame.error().message());
  }
  if (progress) progress("reading and finding stars", paths.size(), paths.size());
  if (frames.size() < 2) return *first_error;
  std::stable_sort(frames.begin(), frames.end(),
                   [](const auto& a, const auto& b) { return a.time && b.time && *a.time < *b.time; });
  return frames;
}

Status check_together(const std::vector<MeasuredFrame>& frames) {
  const Frame& first = frames.front().frame;
  std::map<std::uint64_t, std::string> contents;
  for (const MeasuredFrame& m : frames) {
    const Frame& f = m.frame;
    const std::string name = f.path.string();
    if (f.width != first.width || f.height != first.height)
      return Error{ErrorCode::frames_differ, name, fmt::format("is {} × {} pixels", f.width, f.height),
                   fmt::format("{} × {} as in {}", first.width, first.height, first.path.string()),
                   "Use frames of one camera at one picture size"};
    if (!f.metadata.camera.empty() && !first.metadata.camera.empty() && f.metadata.camera != first.metadata.camera)
      return Error{ErrorCode::frames_differ, name, "was taken with " + f.metadata.camera,
                   first.metadata.camera + " as in " + first.path.string(), "Use frames of one camera"};
    const auto [entry, fresh] = contents.emplace(m.content_hash, name);
    if (!fresh) return same_twice(name, entry->second);
  }
  return {};
}

}  // namespace polewright::session
