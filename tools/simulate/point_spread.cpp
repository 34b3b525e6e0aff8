#include "simulate/point_spread.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace polewright::simulate {
namespace {

/// A Moffat profile (1 + r²/α²)^−β is exactly a mixture of Gaussians of variance α²/2s with s ~ Gamma(β − 1); here the
/// mixture is cut into bins of s, finer towards the wings (small s).
std::vector<Blob> moffat(double sigma_px, double beta) {
  const double fwhm = 2.0 * std::sqrt(2.0 * std::numbers::ln2) * sigma_px;
  const double alpha = fwhm / (2.0 * std::sqrt(std::exp2(1.0 / beta) - 1.0));
  constexpr std::array kShares{0.01, 0.03, 0.08, 0.14, 0.2, 0.22, 0.2, 0.12};
  constexpr int kSamples = 20000;
  std::vector<double> density(kSamples), s(kSamples);
  double total = 0.0;
  for (int i = 0; i < kSamples; ++i) {
    const auto k = static_cast<std::size_t>(i);
    s[k] = std::exp(-9.0 + 13.0 * i / kSamples);
    density[k] = std::pow(s[k], beta - 1.0) * std::exp(-s[k]);  // Gamma density times ds/d(log s)
    total += density[k];
  }
  std::vector<Blob> blobs;
  std::size_t i = 0;
  double reached = 0.0, upto = 0.0;
  for (const double share : kShares) {
    upto += share;
    double weight = 0.0, mean = 0.0;
    for (; i < density.size() && reached < upto * total; ++i) {
      reached += density[i];
      weight += density[i];
      mean += density[i] * s[i];
    }
    if (weight > 0.0) blobs.push_back({0.0, 0.0, weight / total, alpha / std::sqrt(2.0 * mean / weight)});
  }
  return blobs;
}

/// Every blob of `shape` set on every blob of `places` (whose own widths are ignored).
std::vector<Blob> spread(const std::vector<Blob>& shape, const std::vector<Blob>& places) {
  std::vector<Blob> out;
  out.reserve(shape.size() * places.size());
  for (const Blob& p : places)
    for (const Blob& b : shape) out.push_back({b.dx + p.dx, b.dy + p.dy, b.share * p.share, b.sigma_px});
  return out;
}

/// Evenly lit disc as rings of points with equal areas, spaced below the Gaussian's own width.
std::vector<Blob> disc(double radius_px, double sigma_px) {
  const int rings = std::clamp(static_cast<int>(std::ceil(radius_px / (1.2 * sigma_px))), 1, 12);
  std::vector<Blob> points{{0, 0, 1, 0}};
  for (int r = 1; r <= rings; ++r) {
    for (int i = 0; i < 6 * r; ++i) {
      const double rho = radius_px * (r + 1.0 / 6.0) / (rings + 0.5), a = 2.0 * std::numbers::pi * i / (6.0 * r);
      points.push_back({rho * std::cos(a), rho * std::sin(a), 1, 0});
    }
  }
  for (Blob& p : points) p.share = 1.0 / static_cast<double>(points.size());
  return points;
}

/// Points along a line through the origin with the given standard deviation.
std::vector<Blob> line(double sx, double sy) {
  constexpr std::array kAt{-1.5, -0.75, 0.0, 0.75, 1.5};
  constexpr std::array kShare{0.13, 0.22, 0.3, 0.22, 0.13};  // variance 0.83
  std::vector<Blob> out;
  for (std::size_t i = 0; i < kAt.size(); ++i)
    out.push_back({kAt[i] * sx / std::sqrt(0.8325), kAt[i] * sy / std::sqrt(0.8325), kShare[i], 0});
  return out;
}

}  // namespace

PointSpreadField::PointSpreadField(const PointSpread& psf, const Lens& lens)
    : psf_(psf),
      centre_(lens.principal_point()),
      half_diagonal_px_(0.5 * std::hypot(lens.width_px, lens.height_px)),
      half_width_px_(0.5 * lens.width_px),
      core_(psf.moffat_beta ? moffat(psf.sigma_px, *psf.moffat_beta) : std::vector<Blob>{{0, 0, 1, psf.sigma_px}}) {}

std::vector<Blob> PointSpreadField::at(PixelPoint place) const {
  std::vector<Blob> blobs = core_;
  const double x = place.x - centre_.x, y = place.y - centre_.y, r = std::hypot(x, y);
  const double field = r / half_diagonal_px_, ux = r > 0.0 ? x / r : 1.0, uy = r > 0.0 ? y / r : 0.0;
  const double tilt = (x * cos(psf_.tilt_direction) + y * sin(psf_.tilt_direction)) / half_width_px_;
  const double blur = std::abs(psf_.defocus_px + psf_.tilt_px * tilt);
  if (blur > 0.15) blobs = spread(blobs, disc(blur, psf_.sigma_px));
  const double astigmatism = std::abs(psf_.astigmatism_px) * field * field;
  if (astigmatism > 0.1)
    blobs = spread(blobs, psf_.astigmatism_px > 0.0 ? line(ux * astigmatism, uy * astigmatism)
                                                    : line(-uy * astigmatism, ux * astigmatism));
  const double tail = psf_.coma_px * field;
  if (std::abs(tail) > 0.1) {
    // Half the light stays in the head, the rest fades along the tail and widens.
    constexpr std::array kAt{0.0, 0.3, 0.6, 1.0}, kShare{0.5, 0.25, 0.15, 0.1};
    constexpr double kMean = 0.265;
    std::vector<Blob> out;
    for (std::size_t i = 0; i < kAt.size(); ++i) {
      const double along = (kAt[i] - kMean) * tail, wider = 0.3 * kAt[i] * tail;
      for (const Blob& b : blobs)
        out.push_back({b.dx + along * ux, b.dy + along * uy, b.share * kShare[i], std::hypot(b.sigma_px, wider)});
    }
    blobs = std::move(out);
  }
  return blobs;
}

void stamp(Canvas& canvas, PixelPoint at, double sigma_px, double flux, const ColourShares& shares) {
  // Out to where less than 0.02 electrons per pixel are left, so that faint stars cost little and bright ones show no
  // square edge.
  const double peak = flux / (2.0 * std::numbers::pi * sigma_px * sigma_px);
  const double reach = sigma_px * std::clamp(std::sqrt(2.0 * std::log(std::max(peak / 0.02, 1.0))), 3.0, 7.0) + 0.5;
  if (!(at.x > -reach && at.y > -reach && at.x < canvas.width + reach && at.y < canvas.height + reach)) return;
  const int x0 = std::max(0, static_cast<int>(std::ceil(at.x - reach)));
  const int x1 = std::min(canvas.width - 1, static_cast<int>(std::floor(at.x + reach)));
  const int y0 = std::max(0, static_cast<int>(std::ceil(at.y - reach)));
  const int y1 = std::min(canvas.height - 1, static_cast<int>(std::floor(at.y + reach)));
  if (x1 < x0 || y1 < y0) return;
  const double k = 1.0 / (sigma_px * std::numbers::sqrt2);
  std::vector<float>& across = canvas.across;
  across.resize(static_cast<std::size_t>(x1 - x0 + 1));
  double before = std::erf((x0 - 0.5 - at.x) * k);
  for (int x = x0; x <= x1; ++x) {
    const double after = std::erf((x + 0.5 - at.x) * k);
    across[static_cast<std::size_t>(x - x0)] = static_cast<float>(0.5 * (after - before));
    before = after;
  }
  before = std::erf((y0 - 0.5 - at.y) * k);
  for (int y = y0; y <= y1; ++y) {
    const double after = std::erf((y + 0.5 - at.y) * k);
    const auto down = static_cast<float>(0.5 * (after - before) * flux);
    before = after;
    const std::size_t colour_row = 2 * static_cast<std::size_t>(y & 1);
    const std::array<float, 2> gain{down * shares[colour_row], down * shares[colour_row + 1]};
    float* row = canvas.electrons.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(canvas.width);
    for (int x = x0; x <= x1; ++x) row[x] += across[static_cast<std::size_t>(x - x0)] * gain[x & 1];
  }
}

}  // namespace polewright::simulate
