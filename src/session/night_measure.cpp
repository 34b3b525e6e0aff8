#include "session/night_measure.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <mutex>

#include "base/parallel.hpp"
#include "report/jpeg.hpp"
#include "session/night_twins.hpp"
#include "session/page_pictures.hpp"

namespace polewright::session {
namespace {

/// Asks the system to have the file in memory by the time a thread is free for it.
void read_ahead(const std::filesystem::path& file) {
  const int descriptor = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
  if (descriptor < 0) return;
  (void)::posix_fadvise(descriptor, 0, 0, POSIX_FADV_WILLNEED);
  ::close(descriptor);
}

/// What a thread keeps from frame to frame.
struct Workplace {
  NightCache& cache;
  int crop_px;
  std::vector<std::uint16_t> memory;
  std::filesystem::path ahead;  ///< the file that it will want next
};

/// A frame measured earlier without its crops, or with those of a smaller night, is read once more.
void add_crops(NightFile& file, Workplace& place) {
  if (auto known = place.cache.crops(file.input.file, place.crop_px)) {
    file.crops = std::move(*known);
    return;
  }
  ReadOptions read;
  read.memory = &place.memory;
  Result<Frame> frame = read_frame(file.input.file, read);
  if (!frame) return;
  file.crops = report::jpeg_of(crop_strip(*frame, place.crop_px));
  place.memory.swap(frame->pixels);
  place.cache.keep_crops(file.input.file, place.crop_px, file.crops);
}

void measure_one(NightFile& file, Workplace& place) {
  file.record = place.cache.find(file.input.file);
  file.remembered = file.record.has_value();
  if (file.remembered) {
    if (place.crop_px > 0) add_crops(file, place);
    return;
  }
  if (!place.ahead.empty()) read_ahead(place.ahead);
  const auto look = [&](const Frame& frame) {
    if (place.crop_px > 0) file.crops = report::jpeg_of(crop_strip(frame, place.crop_px));
  };
  Result<FrameRecord> measured = measure_frame(file.input.file, {}, &place.memory, look);
  if (!measured) {
    file.problem = measured.error().message();
    return;
  }
  file.record = std::move(*measured);
  place.cache.keep(file.input.file, *file.record);
  if (place.crop_px > 0) place.cache.keep_crops(file.input.file, place.crop_px, file.crops);
}

/// A raw that cannot be read is no loss when a JPEG of it can.
void let_companion_stand_in(NightFile& file, Workplace& place) {
  for (std::filesystem::path& companion : file.input.companions) {
    NightFile other;
    other.input.file = companion;
    measure_one(other, place);
    if (!other.record) continue;
    companion = file.input.file;
    other.input.companions = std::move(file.input.companions);
    other.problem = std::move(file.problem);
    file = std::move(other);
    return;
  }
}

}  // namespace

Result<std::vector<NightFile>> measure_all(std::vector<NightInput> inputs, const CheckOptions& options,
                                           NightCache& cache, const Progress& progress, int crop_px) {
  std::vector<NightFile> files(inputs.size());
  for (std::size_t i = 0; i < inputs.size(); ++i) files[i].input = std::move(inputs[i]);
  const int threads = thread_count(options.session.threads);
  std::atomic<std::size_t> next{0}, done{0};
  std::atomic<bool> stopped{false};
  std::mutex telling;
  // Each worker takes the next file in order, so that a run cut short has measured the first part of the night.
  parallel_for(static_cast<std::size_t>(threads), threads, [&](std::size_t) {
    Workplace place{cache, crop_px, {}, {}};
    for (std::size_t i = next++; i < files.size(); i = next++) {
      if (stopped || (options.stop && options.stop())) {
        stopped = true;
        return;
      }
      const std::size_t ahead = i + static_cast<std::size_t>(threads);
      place.ahead = ahead < files.size() ? files[ahead].input.file : std::filesystem::path();
      measure_one(files[i], place);
      if (!files[i].record) let_companion_stand_in(files[i], place);
      const std::size_t count = ++done;
      if (!progress) continue;
      const std::lock_guard lock(telling);
      progress("measuring frames", count, files.size());
    }
  });
  if (stopped)
    return Error{ErrorCode::cancelled, "", fmt::format("stopped after {} of {} frames", done.load(), files.size()),
                 "the whole night",
                 options.use_cache ? "Run the same command again: what was measured is remembered"
                                   : "Run the same command again, better without --no-cache: then it remembers"};
  join_twins(files, options.session);
  return files;
}

}  // namespace polewright::session
