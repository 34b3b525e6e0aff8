#include "motion/rigid_fit.hpp"

#include <algorithm>
#include <cmath>

namespace polewright::motion_detail {

PixelPoint moved(const RigidMotion& m, PixelPoint centre, PixelPoint a) {
  const double c = std::cos(m.roll_rad), s = std::sin(m.roll_rad), x = a.x - centre.x, y = a.y - centre.y;
  return {centre.x + c * x - s * y + m.shift_x_px, centre.y + s * x + c * y + m.shift_y_px};
}

PlaceGrid::PlaceGrid(const std::vector<Place>& places, int width_px, int height_px)
    : places_(places),
      columns_(std::max(1, static_cast<int>(width_px / kCell_px) + 1)),
      rows_(std::max(1, static_cast<int>(height_px / kCell_px) + 1)),
      cells_(static_cast<std::size_t>(columns_) * static_cast<std::size_t>(rows_)) {
  for (std::uint32_t i = 0; i < places.size(); ++i)
    cells_[static_cast<std::size_t>(row(places[i].position.y) * columns_ + column(places[i].position.x))].push_back(i);
}

int PlaceGrid::column(double x) const {
  return static_cast<int>(std::clamp(x / kCell_px, 0.0, columns_ - 1.0));
}
int PlaceGrid::row(double y) const {
  return static_cast<int>(std::clamp(y / kCell_px, 0.0, rows_ - 1.0));
}

std::optional<std::size_t> PlaceGrid::nearest(PixelPoint p, double radius_px) const {
  std::optional<std::size_t> best;
  double best2 = radius_px * radius_px;
  for (int r = row(p.y - radius_px); r <= row(p.y + radius_px); ++r)
    for (int c = column(p.x - radius_px); c <= column(p.x + radius_px); ++c)
      for (const std::uint32_t i : cells_[static_cast<std::size_t>(r * columns_ + c)]) {
        const double dx = places_[i].position.x - p.x, dy = places_[i].position.y - p.y;
        if (dx * dx + dy * dy >= best2) continue;
        best2 = dx * dx + dy * dy;
        best = i;
      }
  return best;
}

std::vector<Pair> pairs_under(const RigidMotion& motion, PixelPoint centre, const std::vector<Place>& a,
                              const std::vector<Place>& b, const PlaceGrid& grid_b, double radius_px) {
  struct Found {
    double distance;
    Pair pair;
  };
  std::vector<Found> found;
  for (std::size_t i = 0; i < a.size(); ++i) {
    const PixelPoint p = moved(motion, centre, a[i].position);
    if (const auto j = grid_b.nearest(p, radius_px))
      found.push_back({std::hypot(b[*j].position.x - p.x, b[*j].position.y - p.y), {i, *j}});
  }
  std::sort(found.begin(), found.end(), [](const Found& x, const Found& y) { return x.distance < y.distance; });
  std::vector<bool> taken(b.size(), false);
  std::vector<Pair> pairs;
  for (const Found& f : found) {
    if (taken[f.pair.second]) continue;
    taken[f.pair.second] = true;
    pairs.push_back(f.pair);
  }
  return pairs;
}

std::optional<RigidFit> fit_rigid(const std::vector<Pair>& pairs, PixelPoint centre, const std::vector<Place>& a,
                                  const std::vector<Place>& b) {
  if (pairs.size() < 2) return {};
  std::vector<double> weight;
  for (const auto& [i, j] : pairs) weight.push_back(1.0 / (a[i].variance_px2 + b[j].variance_px2 + 1e-4));
  const std::vector<double> stated = weight;
  RigidFit fit;
  for (int pass = 0; pass < 5; ++pass) {
    double sum = 0, ax = 0, ay = 0, bx = 0, by = 0;
    for (std::size_t k = 0; k < pairs.size(); ++k) {
      const PixelPoint p = a[pairs[k].first].position, q = b[pairs[k].second].position;
      sum += weight[k];
      ax += weight[k] * p.x, ay += weight[k] * p.y, bx += weight[k] * q.x, by += weight[k] * q.y;
    }
    ax /= sum, ay /= sum, bx /= sum, by /= sum;
    double along = 0, across = 0, spread = 0;
    for (std::size_t k = 0; k < pairs.size(); ++k) {
      const PixelPoint p = a[pairs[k].first].position, q = b[pairs[k].second].position;
      const double x = p.x - ax, y = p.y - ay, u = q.x - bx, v = q.y - by;
      along += weight[k] * (x * u + y * v);
      across += weight[k] * (x * v - y * u);
      spread += weight[k] * (x * x + y * y);
    }
    if (spread <= 0.0) return {};
    fit.motion = {std::atan2(across, along), 0.0, 0.0};
    const PixelPoint turned = moved(fit.motion, centre, {ax, ay});
    fit.motion.shift_x_px = bx - turned.x;
    fit.motion.shift_y_px = by - turned.y;

    // Scatter over the stated errors; Cauchy weights at 2.5 of it.
    double rms2 = 0.0, weighted2 = 0.0, weights = 0.0;
    std::vector<double> left2;
    for (std::size_t k = 0; k < pairs.size(); ++k) {
      const PixelPoint p = moved(fit.motion, centre, a[pairs[k].first].position), q = b[pairs[k].second].position;
      left2.push_back((q.x - p.x) * (q.x - p.x) + (q.y - p.y) * (q.y - p.y));
      rms2 += left2.back() * weight[k] / stated[k];
      weights += weight[k] / stated[k];
      weighted2 += left2.back() * weight[k];
    }
    const double dof = std::max(1.0, 2.0 * static_cast<double>(pairs.size()) - 3.0);
    const double scale2 = std::max(weighted2 / dof, 1e-6);
    for (std::size_t k = 0; k < pairs.size(); ++k)
      weight[k] = stated[k] / (1.0 + left2[k] * stated[k] / (6.25 * scale2));
    fit.residual_rms_px = std::sqrt(rms2 / (2.0 * weights));
    const double roll_variance = scale2 / spread;
    fit.roll_sigma_rad = std::sqrt(roll_variance);
    // The shift is at the frame's centre: the pairs' own centre carries the roll's error there.
    const double x = ax - centre.x, y = ay - centre.y;
    fit.shift_cov = {scale2 / sum + roll_variance * y * y, -roll_variance * x * y,
                     scale2 / sum + roll_variance * x * x};
  }
  return fit;
}

}  // namespace polewright::motion_detail
