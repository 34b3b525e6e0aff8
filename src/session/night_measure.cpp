#include "session/night_measure.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <map>
#include <mutex>

#include "base/parallel.hpp"
#include "report/jpeg.hpp"
#include "session/night_hash.hpp"
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

/// Copies in other folders: same clock, same stars to the last bit.
void join_copies(std::vector<NightFile>& files) {
  std::map<std::uint64_t, std::size_t> first;
  std::vector<NightFile> out;
  for (NightFile& file : files) {
    if (!file.record || file.record->stars.empty()) {
      out.push_back(std::move(file));
      continue;
    }
    const auto [entry, fresh] = first.emplace(hash_bytes(pack(*file.record)), out.size());
    if (fresh) {
      out.push_back(std::move(file));
      continue;
    }
    auto& companions = out[entry->second].input.companions;
    companions.push_back(file.input.file);
    companions.insert(companions.end(), file.input.companions.begin(), file.input.companions.end());
  }
  files = std::move(out);
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
    Workplace place{cache, crop_px, {}};
    for (std::size_t i = next++; i < files.size(); i = next++) {
      if (stopped || (options.stop && options.stop())) {
        stopped = true;
        return;
      }
      files[i].record = cache.find(files[i].input.file);
      files[i].remembered = files[i].record.has_value();
      if (files[i].remembered) {
        if (crop_px > 0) add_crops(files[i], place);
      } else {
        const std::size_t ahead = i + static_cast<std::size_t>(threads);
        if (ahead < files.size()) read_ahead(files[ahead].input.file);
        measure_one(files[i], place);
      }
      const std::size_t count = ++done;
      if (!progress) continue;
      const std::lock_guard lock(telling);
      progress("measuring frames", count, files.size());
    }
  });
  if (stopped)
    return Error{ErrorCode::cancelled, "", fmt::format("stopped after {} of {} frames", done.load(), files.size()),
                 "the whole night", "Run the same command again: what was measured is remembered"};
  join_copies(files);
  return files;
}

}  // namespace polewright::session
