#include "session/night_sequences.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "polewright/motion.hpp"

namespace polewright::session {
namespace {

/// What makes frames comparable: camera, picture, exposure, lens.
std::string kind_of(const FrameRecord& r) {
  const FrameMetadata& m = r.metadata;
  // Exposure and focal length to 2 %: cameras round them differently from frame to frame.
  const auto coarse = [](const MaybeSourced<double>& v) {
    return v && v->value > 0.0 ? std::lround(50.0 * std::log(v->value)) : 0L;
  };
  return fmt::format("{}|{}x{}|{}|{}|{}", m.camera, r.width, r.height, r.mosaic.is_colour(), coarse(m.exposure_s),
                     coarse(m.focal_length_mm));
}

/// Displacement as the constant motion that makes it in unit time, so that sums along the way are straight in time.
FieldPlace placed(const FrameShift& s) {
  const double half = 0.5 * s.roll.rad(), k = std::abs(half) < 1e-9 ? 1.0 : half / std::tan(half);
  FieldPlace p;
  p.x_px = k * s.shift_x_px + half * s.shift_y_px;
  p.y_px = -half * s.shift_x_px + k * s.shift_y_px;
  p.roll_rad = s.roll.rad();
  p.sigma_px = std::sqrt(std::max(0.0, 0.5 * (s.shift_cov.xx + s.shift_cov.yy)));
  p.roll_sigma_rad = s.roll_sigma_rad;
  return p;
}

FieldPlace sum(const FieldPlace& a, const FieldPlace& b) {
  return {a.x_px + b.x_px, a.y_px + b.y_px, a.roll_rad + b.roll_rad, std::hypot(a.sigma_px, b.sigma_px),
          std::hypot(a.roll_sigma_rad, b.roll_sigma_rad)};
}

/// How much fainter the common stars are in b than in a.
std::optional<double> dimming_between(const StarList& a, const StarList& b, const FrameShift& shift) {
  std::vector<double> steps;
  for (const auto& [i, k] : shift.pairs) {
    const Star &u = a.stars[i], &v = b.stars[k];
    if (u.flags.saturated || v.flags.saturated || u.flags.blended || v.flags.blended || u.flux <= 0.0 || v.flux <= 0.0)
      continue;
    steps.push_back(-2.5 * std::log10(v.flux / u.flux));
  }
  if (steps.size() < 3) return {};
  const auto middle = steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2);
  std::nth_element(steps.begin(), middle, steps.end());
  return *middle;
}

/// One sequence as it grows: new frames are matched to a key frame, which moves on when the field has moved far.
class Growing {
 public:
  explicit Growing(std::size_t file, StarList stars) : key_(std::move(stars)) {
    out_.files.push_back(file);
    out_.places.push_back(FieldPlace{});
    out_.dimming_mag.push_back(0.0);
  }

  [[nodiscard]] std::optional<FrameShift> match(const StarList& stars) const { return shift_between(key_, stars); }

  void add(std::size_t file, StarList stars, const FrameShift& shift) {
    const FieldPlace place = sum(key_place_, placed(shift));
    const auto dimming = dimming_between(key_, stars, shift);
    out_.files.push_back(file);
    out_.places.push_back(place);
    out_.dimming_mag.push_back(dimming ? std::optional(*dimming + key_dimming_) : std::nullopt);
    first_sigma_ = std::max(first_sigma_, place.sigma_px);
    // Half of the stars still in common: time for a nearer key. A key with few stars would lose the rest.
    if (2 * shift.pairs.size() < key_.stars.size() && 4 * stars.stars.size() >= 3 * key_.stars.size() && dimming) {
      key_ = std::move(stars);
      key_place_ = place;
      key_dimming_ += *dimming;
    }
  }
  void add_unplaced(std::size_t file) {
    out_.files.push_back(file);
    out_.places.emplace_back();
    out_.dimming_mag.emplace_back();
  }
  [[nodiscard]] std::size_t last_file() const { return out_.files.back(); }
  [[nodiscard]] std::size_t key_stars() const { return key_.stars.size(); }
  [[nodiscard]] NightSequence finish() {
    // The reference's own noise is in every place; it must not count as exactly known.
    out_.places.front()->sigma_px = first_sigma_ / std::sqrt(2.0);
    return std::move(out_);
  }

 private:
  StarList key_;
  FieldPlace key_place_;
  double key_dimming_ = 0.0, first_sigma_ = 0.0;
  NightSequence out_;
};

/// Sequences of one kind of frame, in order of time.
class Splitter {
 public:
  Splitter(const std::vector<NightFile>& files, std::vector<std::size_t> order)
      : files_(files), order_(std::move(order)) {
    std::vector<std::size_t> counts;
    for (const std::size_t i : order_) counts.push_back(files_[i].record->stars.size());
    std::nth_element(counts.begin(), counts.begin() + static_cast<std::ptrdiff_t>(counts.size() * 4 / 5), counts.end());
    usual_stars_ = counts[counts.size() * 4 / 5];
  }

  std::vector<NightSequence> split() {
    for (std::size_t k = 0; k < order_.size(); ++k) place(k);
    std::vector<NightSequence> out;
    for (Growing& g : growing_) out.push_back(g.finish());
    if (out.empty()) {  // no frame with stars to start from
      out.emplace_back();
      for (const std::size_t i : order_) {
        out.front().files.push_back(i);
        out.front().places.emplace_back();
        out.front().dimming_mag.emplace_back();
      }
      return out;
    }
    // Frames before the first good one belong to the first sequence.
    NightSequence& first = out.front();
    first.files.insert(first.files.begin(), waiting_.begin(), waiting_.end());
    first.places.insert(first.places.begin(), waiting_.size(), std::nullopt);
    first.dimming_mag.insert(first.dimming_mag.begin(), waiting_.size(), std::nullopt);
    return out;
  }

 private:
  [[nodiscard]] bool rich(const StarList& stars) const {
    return stars.stars.size() >= 8 && 2 * stars.stars.size() >= usual_stars_;
  }

  void place(std::size_t k) {
    const std::size_t file = order_[k];
    StarList stars = star_list_of(*files_[file].record);
    if (growing_.empty()) {
      if (rich(stars))
        start(file, std::move(stars));
      else
        waiting_.push_back(file);
      return;
    }
    if (const auto shift = growing_[current_].match(stars)) {
      growing_[current_].add(file, std::move(stars), *shift);
      return;
    }
    // Back to an earlier pointing? The latest few are asked; a night has few pointings.
    for (std::size_t back = growing_.size(); back-- > 0 && growing_.size() - back <= 6;) {
      if (back == current_) continue;
      if (const auto shift = growing_[back].match(stars)) {
        current_ = back;
        growing_[back].add(file, std::move(stars), *shift);
        return;
      }
    }
    if (!rich(stars) || returns_soon(k)) {
      growing_[current_].add_unplaced(file);
      return;
    }
    start(file, std::move(stars));
  }

  /// One of the next frames fits the present key again: this one is an accident, not a new pointing.
  [[nodiscard]] bool returns_soon(std::size_t k) const {
    for (std::size_t later = k + 1; later < std::min(k + 4, order_.size()); ++later)
      if (growing_[current_].match(star_list_of(*files_[order_[later]].record))) return true;
    return false;
  }

  void start(std::size_t file, StarList stars) {
    current_ = growing_.size();
    growing_.emplace_back(file, std::move(stars));
  }

  const std::vector<NightFile>& files_;
  std::vector<std::size_t> order_;
  std::size_t usual_stars_ = 0;
  std::vector<Growing> growing_;
  std::size_t current_ = 0;
  std::vector<std::size_t> waiting_;
};

/// Frames in order of time, cut at pauses as long as a day's: whoever goes out again has set the mount up anew, and
/// what drifted or swung before says nothing about what does now.
std::vector<std::vector<std::size_t>> nights_of(const std::vector<std::size_t>& order,
                                                const std::vector<std::optional<UtcTime>>& times) {
  constexpr double kPause_s = 6.0 * 3600.0;
  std::vector<std::vector<std::size_t>> nights(1);
  for (const std::size_t i : order) {
    const auto& last = nights.back().empty() ? std::nullopt : times[nights.back().back()];
    if (times[i] && last && times[i]->seconds_since(*last) > kPause_s) nights.emplace_back();
    nights.back().push_back(i);
  }
  return nights;
}

}  // namespace

std::vector<NightSequence> split_sequences(const std::vector<NightFile>& files, const SessionOptions& options,
                                           const Progress& progress) {
  std::map<std::string, std::vector<std::size_t>> kinds;
  std::vector<std::optional<UtcTime>> times(files.size());
  for (std::size_t i = 0; i < files.size(); ++i) {
    if (!files[i].record) continue;
    kinds[kind_of(*files[i].record)].push_back(i);
    if (const auto clock = clock_time_of(*files[i].record, options)) times[i] = clock->time;
  }
  std::vector<NightSequence> out;
  std::size_t done = 0;
  for (auto& [kind, members] : kinds) {
    // Files are in order of name already; those without a time keep it, behind the others.
    std::stable_sort(members.begin(), members.end(), [&](std::size_t a, std::size_t b) {
      return times[a] && times[b] ? *times[a] < *times[b] : times[a].has_value() && !times[b];
    });
    if (progress) progress("comparing frames", done, kinds.size());
    ++done;
    for (std::vector<std::size_t>& night : nights_of(members, times))
      for (NightSequence& s : Splitter(files, std::move(night)).split()) out.push_back(std::move(s));
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const auto& a, const auto& b) { return a.files.size() > b.files.size(); });
  return out;
}

}  // namespace polewright::session
