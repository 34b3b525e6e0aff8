#include "session/night_twins.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "polewright/motion.hpp"
#include "session/night_hash.hpp"

namespace polewright::session {
namespace {

// A JPEG's clock counts whole seconds, a raw's may count parts, and one of them may be the exposure's end rounded.
constexpr double kSameClock_s = 2.0;
// Cameras crop the raw's border for the JPEG; a tracked night's next frame rarely stands as close as a border is wide,
// and if it does, its name is another.
constexpr double kBorder_px = 60.0, kSameRoll_deg = 0.1, kLeastShare = 0.5;

void join(NightFile& kept, NightFile& twin) {
  if (rank_of(twin.input.file) < rank_of(kept.input.file)) {
    std::swap(kept, twin);
  }
  auto& companions = kept.input.companions;
  companions.push_back(twin.input.file);
  companions.insert(companions.end(), twin.input.companions.begin(), twin.input.companions.end());
}

bool has_form(const NightInput& input, int rank) {
  return rank_of(input.file) == rank || std::any_of(input.companions.begin(), input.companions.end(),
                                                    [&](const auto& c) { return rank_of(c) == rank; });
}

bool same_stars(const FrameRecord& a, const FrameRecord& b) {
  const double most = std::max(a.width, b.width);
  if (std::abs(a.width - b.width) > kBorder_px || std::abs(a.height - b.height) > kBorder_px) return false;
  const auto shift = shift_between(star_list_of(a), star_list_of(b));
  if (!shift) return false;
  const double fewer = static_cast<double>(std::min(a.stars.size(), b.stars.size()));
  return std::hypot(shift->shift_x_px, shift->shift_y_px) < std::min(kBorder_px, 0.05 * most) &&
         std::abs(shift->roll.deg())<kSameRoll_deg&& static_cast<double>(shift->pairs.size())> kLeastShare * fewer;
}

bool same_exposure(const NightFile& a, const NightFile& b, const SessionOptions& options) {
  if (a.input.file.parent_path() == b.input.file.parent_path())
    return false;  // two files of one form, told apart by name
  if (!a.record || !b.record || has_form(a.input, rank_of(b.input.file))) return false;
  const auto u = clock_time_of(*a.record, options), v = clock_time_of(*b.record, options);
  if (u && v && u->zone_known == v->zone_known) return std::abs(u->time.seconds_since(v->time)) <= kSameClock_s;
  return same_stars(*a.record, *b.record);
}

}  // namespace

void join_twins(std::vector<NightFile>& files, const SessionOptions& options) {
  std::map<std::uint64_t, std::size_t> by_content;
  std::multimap<std::string, std::size_t> by_stem;
  std::vector<NightFile> out;
  for (NightFile& file : files) {
    if (file.record && !file.record->stars.empty()) {
      const auto [entry, fresh] = by_content.emplace(hash_bytes(pack(*file.record)), out.size());
      if (!fresh) {
        join(out[entry->second], file);
        continue;
      }
    }
    const std::string stem = lower(file.input.file.stem().string());
    const auto [from, to] = by_stem.equal_range(stem);
    const auto twin =
        std::find_if(from, to, [&](const auto& e) { return same_exposure(out[e.second], file, options); });
    if (twin != to) {
      join(out[twin->second], file);
      continue;
    }
    by_stem.emplace(stem, out.size());
    out.push_back(std::move(file));
  }
  files = std::move(out);
}

}  // namespace polewright::session
