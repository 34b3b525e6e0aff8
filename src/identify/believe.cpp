#include "identify/believe.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "identify/chance.hpp"

namespace polewright {
namespace {

constexpr int kFanStars = 4;  // agree by construction of the candidate
constexpr std::uint64_t kFewestTried = 1000;

struct Prediction {
  PixelPoint place;
  double allowed_px = 0.0;
  std::uint32_t detection = kUnmet;  ///< rank of the one it met
  static constexpr std::uint32_t kUnmet = 0xFFFFFFFFu;
};

/// The predicted stars on the frame, brightest first.
std::vector<Prediction> predictions(const Grown& grown, const Detections& detections, const Grower& grower) {
  std::vector<std::uint32_t> met(grown.field.size(), Prediction::kUnmet);
  double typical_sigma = 0.0;
  for (const StarPair& p : grown.pairs) {
    met[p.field] = p.detection;
    typical_sigma += grower.sigma_px(grown, p.detection) / static_cast<double>(grown.pairs.size());
  }
  std::vector<Prediction> all;
  for (std::uint32_t i = 0; i < grown.field.size(); ++i) {
    const auto p = grown.pose.project(grown.field[i].direction);
    if (!p || !detections.on_frame(*p)) continue;
    all.push_back({*p, grown.reach_sigmas * typical_sigma, met[i]});
  }
  return all;
}

/// Ranks of the brightest detections met at places beside the predicted ones; kUnmet where there is none.
std::vector<std::uint32_t> met_aside(const std::vector<Prediction>& all, const Detections& detections) {
  // Steps of the golden angle, at 4 to 40 times the reach: near enough to feel the same clump, clear of the star.
  constexpr int kAside = 12;
  std::array<PixelPoint, kAside> step;
  for (int k = 0; k < kAside; ++k) {
    const double angle = 2.399963 * k, far = 4.0 + 3.0 * k;
    step[static_cast<std::size_t>(k)] = {far * std::cos(angle), far * std::sin(angle)};
  }
  std::vector<std::uint32_t> met;
  for (const Prediction& s : all)
    for (const PixelPoint& d : step) {
      const PixelPoint aside{s.place.x + s.allowed_px * d.x, s.place.y + s.allowed_px * d.y};
      if (detections.on_frame(aside))
        met.push_back(detections.brightest(aside, s.allowed_px).value_or(Prediction::kUnmet));
    }
  return met;
}

/// Chance that a place meets one of the `among` brightest detections: as measured aside, and not below a uniform
/// field's.
double accident_rate(const std::vector<Prediction>& all, const std::vector<std::uint32_t>& aside,
                     const Detections& detections, std::uint32_t among) {
  if (all.empty() || aside.empty()) return 1.0;
  double area = 0.0;
  for (const Prediction& s : all) area += std::numbers::pi * s.allowed_px * s.allowed_px;
  const double uniform = among * area / static_cast<double>(all.size()) / detections.area_px();
  const auto hits = std::count_if(aside.begin(), aside.end(), [&](std::uint32_t rank) { return rank < among; });
  return std::clamp(std::max(uniform, static_cast<double>(hits) / static_cast<double>(aside.size())), 1e-9, 1.0);
}

/// Lowest tail probability over the number of stars counted; `choices` grows by the numbers looked at.
double lowest_tail(const std::vector<Prediction>& all, std::uint32_t among, double rate, int used, int& choices) {
  double best = 0.0, next = 2.0 * used;
  int met = 0;
  for (std::size_t i = 0; i < all.size(); ++i) {
    met += all[i].detection < among ? 1 : 0;
    if (static_cast<double>(i + 1) < next && i + 1 != all.size()) continue;
    next = std::max(next * 1.4, next + 1.0);
    ++choices;
    best = std::min(best, log10_binomial_tail(static_cast<int>(i) + 1 - used, met - used, rate));
  }
  return best;
}

}  // namespace

double log10_chance(const Grown& grown, const Detections& detections, const Grower& grower, std::uint64_t tried) {
  const auto all = predictions(grown, detections, grower);
  const auto aside = met_aside(all, detections);
  const int used = kFanStars + (std::max(0, grown.freedom.count() - 4) + 1) / 2;
  double best = 0.0;
  int choices = 0;
  for (std::uint32_t wanted = 25;; wanted *= 2) {
    const std::uint32_t among = std::min(wanted, detections.size());
    best = std::min(best, lowest_tail(all, among, accident_rate(all, aside, detections, among), used, choices));
    if (among == detections.size()) break;
  }
  const auto charged = static_cast<double>(std::max(tried, kFewestTried)) * std::max(choices, 1);
  return std::min(0.0, best + std::log10(charged));
}

}  // namespace polewright
