#include "identify/detections.hpp"

#include <algorithm>
#include <cmath>

namespace polewright {
namespace {

/// A centroid better than this is not believed: pixels are not perfect squares of equal response.
constexpr double kBestCentroid_px = 0.02;
/// Sigma of a star whose list gives none: rough centroids reach this.
constexpr double kUnknownSigma_px = 0.3;
/// The middle of a burnt-out disc is no better known than this.
constexpr double kBurntOutSigma_px = 0.3;

/// So many burnt-out images at most are taken for stars; where there are more, they are lights.
constexpr std::ptrdiff_t kMostBurntOut = 30;
/// A sigma counts as at most this many times the list's median: a match far off says nothing.
constexpr double kLargestSigma = 3.0;

/// The brightest stars burn out into large discs with bleeding edges, which may be flagged as glow, streak or lamp;
/// they are worth most here. A lamp or the Moon that comes in with them is one more false detection.
bool burnt_out(const StarFlags& flags) {
  StarFlags rest = flags;
  rest.too_large = rest.streak = rest.foreground = false;
  return flags.saturated && !flags.usable() && rest.usable();
}

}  // namespace

Detections::Detections(const StarList& stars, std::size_t limit) : width_(stars.width), height_(stars.height) {
  const auto burnt =
      std::count_if(stars.stars.begin(), stars.stars.end(), [](const Star& s) { return burnt_out(s.flags); });
  for (std::uint32_t i = 0; i < stars.stars.size(); ++i) {
    const Star& s = stars.stars[i];
    const bool disc = burnt <= kMostBurntOut && burnt_out(s.flags);
    if (!(s.flags.usable() || disc) || !std::isfinite(s.position.x) || !std::isfinite(s.position.y) ||
        !on_frame(s.position))
      continue;
    const double variance = 0.5 * (s.position_cov.xx + s.position_cov.yy);
    const double sigma = variance > 0.0 && std::isfinite(variance) ? std::sqrt(variance) : kUnknownSigma_px;
    all_.push_back({s.position, std::max(sigma, disc ? kBurntOutSigma_px : kBestCentroid_px), i});
  }
  std::stable_sort(all_.begin(), all_.end(), [&](const Detection& a, const Detection& b) {
    return stars.stars[a.star].flux > stars.stars[b.star].flux;
  });
  if (all_.size() > limit) all_.resize(limit);
  limit_sigmas();
  cell_px_ = std::max(4.0, std::sqrt(area_px() / static_cast<double>(std::max<std::size_t>(all_.size(), 1))));
  columns_ = static_cast<int>(width_ / cell_px_) + 1;
  rows_ = static_cast<int>(height_ / cell_px_) + 1;
  cell_.resize(static_cast<std::size_t>(columns_) * static_cast<std::size_t>(rows_));
  for (std::uint32_t i = 0; i < size(); ++i)
    cell_[static_cast<std::size_t>(row(all_[i].place.y) * columns_ + column(all_[i].place.x))].push_back(i);
}

void Detections::limit_sigmas() {
  if (all_.empty()) return;
  std::vector<double> sigmas;
  for (const Detection& d : all_) sigmas.push_back(d.sigma_px);
  const auto middle = sigmas.begin() + static_cast<std::ptrdiff_t>(sigmas.size() / 2);
  std::nth_element(sigmas.begin(), middle, sigmas.end());
  const double largest = std::max(kUnknownSigma_px, kLargestSigma * *middle);
  for (Detection& d : all_) d.sigma_px = std::min(d.sigma_px, largest);
}

double Detections::half_diagonal_px() const {
  return 0.5 * std::hypot(width_, height_);
}

bool Detections::on_frame(PixelPoint p, double margin_px) const {
  return p.x >= -0.5 - margin_px && p.y >= -0.5 - margin_px && p.x <= width_ - 0.5 + margin_px &&
         p.y <= height_ - 0.5 + margin_px;
}

int Detections::column(double x) const {
  return static_cast<int>(std::clamp(x / cell_px_, 0.0, columns_ - 1.0));
}
int Detections::row(double y) const {
  return static_cast<int>(std::clamp(y / cell_px_, 0.0, rows_ - 1.0));
}

std::optional<std::uint32_t> Detections::nearest(PixelPoint p, double reach_px, std::uint32_t among) const {
  std::optional<std::uint32_t> found;
  double best = reach_px * reach_px;
  const int right = column(p.x + reach_px), bottom = row(p.y + reach_px);
  for (int r = row(p.y - reach_px); r <= bottom; ++r)
    for (int c = column(p.x - reach_px); c <= right; ++c)
      for (const std::uint32_t i : cell_[static_cast<std::size_t>(r * columns_ + c)]) {
        if (i >= among) break;
        const double dx = all_[i].place.x - p.x, dy = all_[i].place.y - p.y;
        if (const double d = dx * dx + dy * dy; d <= best) {
          best = d;
          found = i;
        }
      }
  return found;
}

std::optional<std::uint32_t> Detections::brightest(PixelPoint p, double reach_px) const {
  std::optional<std::uint32_t> found;
  const int right = column(p.x + reach_px), bottom = row(p.y + reach_px);
  for (int r = row(p.y - reach_px); r <= bottom; ++r)
    for (int c = column(p.x - reach_px); c <= right; ++c)
      for (const std::uint32_t i : cell_[static_cast<std::size_t>(r * columns_ + c)]) {
        if (found && i >= *found) break;
        const double dx = all_[i].place.x - p.x, dy = all_[i].place.y - p.y;
        if (dx * dx + dy * dy <= reach_px * reach_px) found = i;
      }
  return found;
}

std::vector<std::uint32_t> Detections::neighbours(std::uint32_t rank, std::size_t count, std::uint32_t among) const {
  std::vector<std::pair<double, std::uint32_t>> order;
  const PixelPoint p = all_[rank].place;
  for (std::uint32_t i = 0; i < std::min(among, size()); ++i)
    if (i != rank) order.emplace_back(std::hypot(all_[i].place.x - p.x, all_[i].place.y - p.y), i);
  const std::size_t kept = std::min(count, order.size());
  std::partial_sort(order.begin(), order.begin() + static_cast<std::ptrdiff_t>(kept), order.end());
  std::vector<std::uint32_t> found;
  for (std::size_t i = 0; i < kept; ++i) found.push_back(order[i].second);
  return found;
}

}  // namespace polewright
