#include "stars/frame_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "base/parallel.hpp"
#include "stars/calibration.hpp"
#include "stars/neighbours.hpp"
#include "stars/saturated_fit.hpp"
#include "stars/star_size.hpp"
#include "stars/star_values.hpp"

namespace polewright {
namespace {

constexpr double kReachPerSigma = 3.6;           // the light beyond moves the errors by less than 1 %
constexpr double kSaturatedReachPerSigma = 7.0;  // a saturated star has only its wings to show
constexpr double kFreeShapeSnr = 12.0;           // below, a star's own width and trail say nothing
constexpr double kTellingSnr = 40.0;             // from here a trail as long as the width is no accident of noise
constexpr double kPairLength = 2.2;              // own trail per width from which a star is tried as two
constexpr double kPoor = 1.8;                    // χ² per pixel from which another start is tried
constexpr std::size_t kExemplars = 150;          // their median width is good to 1 %; of few fits, half as many

/// Fits of all stars of a frame under way.
class FrameFitter {
 public:
  FrameFitter(const Frame& frame, const BackgroundMap& background, const StarOptions& options, FrameProfile& profile,
              std::vector<Star>& stars)
      : frame_(frame),
        background_(background),
        options_(options),
        profile_(profile),
        stars_(stars),
        fits_(stars.size()) {}

  void run() {
    guess_gain();
    double longest = 0.0;
    for (const Star& s : stars_)
      if (profile_.motion) longest = std::max(longest, std::hypot(s.trail_x_px, s.trail_y_px));
    neighbours_ = neighbours_within(stars_, 2.0 * kReachPerSigma * profile_.sigma_px + longest);
    make_seeds();
    calibrate();
    choose();
    for_each(chosen_.size(), [&](std::size_t k) { fit(chosen_[k], seeds_, neighbours_[chosen_[k]].empty()); });
    refine_crowded();
    if (!profile_.motion) split_pairs();
    for (std::size_t i = 0; i < fits_.size(); ++i) {
      if (fits_[i]) {
        store_fit(*fits_[i], has_free_shape(i), stars_[i]);
        // Through a mosaic the moments that made it look too large may be the pattern's; then the fit decides.
        stars_[i].flags.too_large = width_across(*fits_[i]) > 2.5 * profile_.sigma_px;
      } else {
        widen_errors(stars_[i]);
      }
    }
    stars_.insert(stars_.end(), added_.begin(), added_.end());
  }

 private:
  template <class Body>
  void for_each(std::size_t n, Body body) {
    constexpr std::size_t kBatch = 16;
    parallel_for((n + kBatch - 1) / kBatch, options_.threads, [&](std::size_t b) {
      for (std::size_t i = b * kBatch; i < std::min(n, (b + 1) * kBatch); ++i) body(i);
    });
  }
  /// The brightest that get a fit: those that show their peak, and of the others, whose fits take ten times as long, as
  /// many as the options allow.
  void choose() {
    int whole = 0, saturated = 0;
    for (std::size_t i = 0; i < stars_.size(); ++i) {
      if (!is_star(i)) continue;
      const bool burnt = stars_[i].flags.saturated;
      int& count = burnt ? saturated : whole;
      if (++count <= (burnt ? options_.max_saturated_fitted : options_.max_fitted)) chosen_.push_back(i);
    }
  }
  /// Hot pixels are known by now, and outside mosaics glow and streaks too; they have no profile to fit.
  [[nodiscard]] bool is_star(std::size_t i) const {
    return !stars_[i].flags.hot_pixel && (!stars_[i].flags.too_large || frame_.mosaic.is_colour());
  }
  [[nodiscard]] bool has_free_shape(std::size_t i) const {
    return stars_[i].snr >= kFreeShapeSnr && !stars_[i].flags.saturated;
  }

  /// A windowed centroid has the star's photon noise too, and depends on the sub-pixel phase, or on the shape of the
  /// plateau where there is one.
  void widen_errors(Star& s) const {
    const double phase_px = s.flags.saturated ? 0.2 : 0.05;
    const double width2 = profile_.sigma_px * profile_.sigma_px + 1.0 / 12.0;
    const double extra =
        width2 * static_cast<double>(profile_.noise.gain[0]) / std::max(1.0, s.flux) + phase_px * phase_px;
    s.position_cov.xx += extra;
    s.position_cov.yy += extra;
  }

  /// Sky noise is at least the sky's photon noise; the stars will say better.
  void guess_gain() {
    const int ix = background_.tiles_x() / 2, iy = background_.tiles_y() / 2;
    for (int c = 0; c < background_.classes(); ++c) {
      const auto k = static_cast<std::size_t>(c);
      const float light = background_.tile_level(c, ix, iy) - static_cast<float>(frame_.black_level[k]);
      profile_.noise.gain[k] = std::pow(background_.tile_noise(c, ix, iy), 2.0F) / std::max(1.0F, light);
    }
  }

  /// A star starts from the frame's motion where there is one, else from its own trail.
  void make_seeds() {
    seeds_.clear();
    for (const Star& s : stars_) {
      double tx = s.trail_x_px, ty = s.trail_y_px;
      if (profile_.motion) profile_.motion->at(s.position, tx, ty);
      seeds_.push_back(start_fit(s.position, profile_.sigma_px, tx, ty, frame_.mosaic.is_colour() ? 3 : 1, s.flux));
    }
  }

  [[nodiscard]] FitPixels pixels_of(std::size_t i, const std::vector<StarFit>& others, double reach_per_sigma) const {
    double tx = 0.0, ty = 0.0;
    trail_of(seeds_[i], tx, ty);
    const StarShape& shape = seeds_[i].shape;
    FitPixels pixels = cut_pixels(frame_, background_, profile_.noise, {shape.x, shape.y}, tx, ty,
                                  std::max(2.6, reach_per_sigma * profile_.sigma_px + 0.5));
    for (const std::uint32_t k : neighbours_[i])
      if (is_star(k)) subtract_star(others[k], profile_.wings, pixels);
    return pixels;
  }

  [[nodiscard]] FitPriors priors_for(std::size_t i, const StarFit& seed) const {
    FitPriors priors{seed.shape.sigma, 0.3 * seed.shape.sigma, seed.shape.trail_a, seed.shape.trail_b, std::nullopt};
    if (!has_free_shape(i)) {
      priors.sigma_spread = 0.0;
      priors.trail_spread = 0.0;
    }
    return priors;
  }

  /// A saturated star's long fit waits until its neighbours are `settled`; before, a plain one does.
  void fit(std::size_t i, const std::vector<StarFit>& others, bool settled = true) {
    const double reach = stars_[i].flags.saturated ? kSaturatedReachPerSigma : kReachPerSigma;
    const FitPixels pixels = pixels_of(i, others, reach);
    if (stars_[i].flags.saturated && settled) {
      fits_[i] = fit_saturated(pixels, seeds_[i], priors_for(i, seeds_[i]), profile_.wings);
      return;
    }
    fits_[i] = fit_star(pixels, seeds_[i], priors_for(i, seeds_[i]), profile_.wings);
    if (stars_[i].flags.saturated) return;
    if (!fits_[i] || (!profile_.motion && fits_[i]->chi2 > kPoor * fits_[i]->pixels)) search_start(i, pixels);
    // A form outside its range is exchanged for the other, once.
    if (!fits_[i] || stars_[i].snr < kTellingSnr || form_fits(*fits_[i])) return;
    const StarFit restart = with_other_form(*fits_[i]);
    if (auto better = fit_star(pixels, restart, priors_for(i, restart), profile_.wings)) fits_[i] = std::move(better);
  }

  /// A narrow star of one colour seen through the mosaic, or an illusory trail from its moments, can lead the fit into
  /// a false minimum. Fits of fixed shape from starts around the first find the right one.
  void search_start(std::size_t i, const FitPixels& pixels) {
    constexpr std::array<std::array<double, 2>, 5> offsets{
        {{0.0, 0.0}, {0.7, 0.0}, {-0.7, 0.0}, {0.0, 0.7}, {0.0, -0.7}}};
    double tx = 0.0, ty = 0.0;
    if (profile_.motion) trail_of(seeds_[i], tx, ty);
    std::optional<StarFit> best;
    for (const auto& [dx, dy] : offsets) {
      const PixelPoint at{seeds_[i].shape.x + dx, seeds_[i].shape.y + dy};
      const StarFit start = start_fit(at, profile_.sigma_px, tx, ty, seeds_[i].colours, stars_[i].flux);
      FitPriors held = priors_for(i, start);
      held.sigma_spread = 0.0;
      held.trail_spread = 0.0;
      auto tried = fit_star(pixels, start, held, profile_.wings);
      if (tried && (!best || tried->chi2 < best->chi2)) best = std::move(tried);
    }
    if (!best) return;
    auto free = fit_star(pixels, *best, priors_for(i, *best), profile_.wings);
    if (free && (!fits_[i] || free->chi2 < fits_[i]->chi2)) fits_[i] = std::move(free);
  }

  /// Clean, lonely stars over the whole range of brightness above an SNR of 25.
  [[nodiscard]] std::vector<std::size_t> exemplars() const {
    std::vector<std::size_t> all;
    for (std::size_t i = 0; i < stars_.size(); ++i)
      if (stars_[i].flags.usable() && !stars_[i].flags.saturated && stars_[i].snr > 25.0 && !is_lone_pixel(i))
        all.push_back(i);
    std::vector<std::size_t> lonely;
    for (const std::size_t i : all)
      if (neighbours_[i].empty()) lonely.push_back(i);
    if (lonely.size() >= 20) all.swap(lonely);
    std::vector<std::size_t> out;
    const std::size_t most = std::min(kExemplars, static_cast<std::size_t>(options_.max_fitted / 2));
    const std::size_t step = std::max<std::size_t>(1, all.size() / std::max<std::size_t>(1, most));
    for (std::size_t i = 0; i < all.size() && out.size() < most; i += step) out.push_back(all[i]);
    return out;
  }

  [[nodiscard]] bool is_lone_pixel(std::size_t i) const {
    return stands_alone(frame_, background_, static_cast<int>(std::lround(stars_[i].position.x)),
                        static_cast<int>(std::lround(stars_[i].position.y)));
  }

  void calibrate() {
    const std::vector<std::size_t> sample = exemplars();
    if (sample.size() < 5) return;
    choose_wings(sample);
    for (int round = 0; round < 2; ++round) {
      std::vector<LightNoise> noises(sample.size());
      for_each(sample.size(), [&](std::size_t k) {
        fit(sample[k], seeds_);
        if (fits_[sample[k]])
          noises[k] =
              light_noise(background_, pixels_of(sample[k], seeds_, kReachPerSigma), *fits_[sample[k]], profile_.wings);
      });
      profile_.noise = noise_from(noises, profile_.noise);
      share_shape(sample);
      make_seeds();
    }
  }

  /// Width, and in trailed frames the motion, from the exemplars' fits.
  void share_shape(const std::vector<std::size_t>& sample) {
    // Widths are compared at the sample's common trail: each star's own scatters and would make all look narrow.
    std::vector<double> squares, q1, q2;
    std::vector<TrailSample> trails;
    for (const std::size_t i : sample) {
      if (!fits_[i]) continue;
      TrailSample t{{fits_[i]->shape.x, fits_[i]->shape.y}, 0.0, 0.0};
      trail_of(*fits_[i], t.tx, t.ty);
      trails.push_back(t);
      const TrailSquare q = square_of(t.tx, t.ty);
      q1.push_back(q.q1);
      q2.push_back(q.q2);
      const double across = width_across(*fits_[i]);
      squares.push_back(profile_.motion ? across * across : across * across + std::hypot(q.q1, q.q2) / 24.0);
    }
    const double common = profile_.motion ? 0.0 : std::hypot(median_or(q1, 0.0), median_or(q2, 0.0));
    const double square = median_or(squares, profile_.sigma_px * profile_.sigma_px) - common / 24.0;
    profile_.sigma_px = std::sqrt(std::max(0.09, square));
    if (!profile_.motion) return;
    if (auto better = fit_motion_field(trails, profile_.motion->centre, profile_.motion->bend, profile_.sigma_px))
      profile_.motion = better;
  }

  /// The share of light in the wings that the exemplars' fits prefer. Each star's say is limited, and together they
  /// must prefer wings clearly: a wing that is not there makes every flux too large. Beyond the best share fits only
  /// get worse.
  void choose_wings(const std::vector<std::size_t>& sample) {
    constexpr std::array<double, 5> shares{0.0, 0.06, 0.12, 0.2, 0.3};
    constexpr double kSay = 10.0,
                     kClear = 30.0;  // in deviance; one parameter at 5σ, and a little for the choice among five
    const std::size_t n = std::min<std::size_t>(sample.size(), 40);
    std::vector<std::optional<double>> plain(n);
    double best_gain = kClear, best_share = 0.0, last_gain = 0.0;
    for (const double share : shares) {
      profile_.wings.share = share;
      for_each(n, [&](std::size_t j) { fit(sample[j], seeds_); });
      double gain = 0.0;
      for (std::size_t j = 0; j < n; ++j) {
        if (!fits_[sample[j]]) continue;
        if (share == 0.0) plain[j] = fits_[sample[j]]->deviance;
        if (plain[j]) gain += std::clamp(*plain[j] - fits_[sample[j]]->deviance, -kSay, kSay);
      }
      if (gain > best_gain) best_gain = gain, best_share = share;
      if (gain < last_gain) break;
      last_gain = gain;
    }
    profile_.wings.share = best_share;
  }

  /// An image much longer than the frame's may be two stars under one maximum: tried, and kept when clearly better. The
  /// second of each pair joins the list.
  void split_pairs() {
    std::vector<std::optional<std::array<StarFit, 2>>> pairs(chosen_.size());
    for_each(chosen_.size(), [&](std::size_t k) {
      const std::size_t i = chosen_[k];
      double tx = 0.0, ty = 0.0;
      if (!fits_[i] || !has_free_shape(i) || stars_[i].snr < kTellingSnr) return;
      trail_of(*fits_[i], tx, ty);
      if (std::hypot(tx, ty) > kPairLength * profile_.sigma_px) pairs[k] = as_pair(i, tx, ty);
    });
    for (std::size_t k = 0; k < chosen_.size(); ++k) {
      if (!pairs[k]) continue;
      const std::size_t i = chosen_[k];
      fits_[i] = (*pairs[k])[0];
      Star second = stars_[i];
      store_fit((*pairs[k])[1], false, second);
      second.flags.blended = stars_[i].flags.blended = true;
      added_.push_back(second);
    }
  }

  /// Two round stars in place of one long one, fitted in turn; nothing unless that wins clearly.
  [[nodiscard]] std::optional<std::array<StarFit, 2>> as_pair(std::size_t i, double tx, double ty) const {
    constexpr double kApart = 0.29;  // half the distance of two points with a segment's second moment, over length
    constexpr double kClearlyBetter = 30.0;
    const StarFit& single = *fits_[i];
    const FitPixels pixels = pixels_of(i, seeds_, kReachPerSigma + 1.0);
    StarFit one = single;
    const auto again = fit_star(pixels, one, priors_for(i, one), profile_.wings);
    if (!again) return {};
    std::array<StarFit, 2> pair;
    for (const std::size_t k : {0, 1}) {
      const double side = k == 0 ? -kApart : kApart;
      pair[k] = start_fit({single.shape.x + side * tx, single.shape.y + side * ty}, profile_.sigma_px, 0.0, 0.0,
                          single.colours, 0.0);
      for (std::size_t c = 0; c < 3; ++c) pair[k].flux[c] = 0.5 * single.flux[c];
    }
    for (int round = 0; round < 12; ++round)
      for (const std::size_t k : {0, 1}) {
        FitPixels rest = pixels;
        subtract_star(pair[1 - k], profile_.wings, rest);
        FitPriors held{pair[k].shape.sigma, 0.0, 0.0, 0.0, 0.0};
        auto fitted = fit_star(rest, pair[k], held, profile_.wings);
        if (!fitted || fitted->flux[0] < 0.0) return {};
        pair[k] = *fitted;
      }
    if (pair[1].deviance > again->deviance - kClearlyBetter) return {};
    if (pair[1].flux[0] > pair[0].flux[0]) std::swap(pair[0], pair[1]);
    return pair;
  }

  /// Stars with neighbours once more, with the neighbours' fits instead of their first guesses.
  void refine_crowded() {
    for (const bool last : {false, true}) {
      std::vector<StarFit> now = seeds_;
      for (const std::size_t i : chosen_)
        if (fits_[i]) now[i] = *fits_[i];
      for_each(chosen_.size(), [&](std::size_t k) {
        if (!neighbours_[chosen_[k]].empty()) fit(chosen_[k], now, last);
      });
    }
  }

  const Frame& frame_;
  const BackgroundMap& background_;
  const StarOptions& options_;
  FrameProfile& profile_;
  std::vector<Star>& stars_;
  std::vector<StarFit> seeds_;
  std::vector<std::size_t> chosen_;
  std::vector<Star> added_;  ///< second stars of pairs
  std::vector<std::optional<StarFit>> fits_;
  std::vector<std::vector<std::uint32_t>> neighbours_;
};

}  // namespace

void fit_stars(const Frame& frame, const BackgroundMap& background, const StarOptions& options, FrameProfile& profile,
               std::vector<Star>& stars) {
  FrameFitter(frame, background, options, profile, stars).run();
}

}  // namespace polewright
