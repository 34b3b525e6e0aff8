#include "stars/profile.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace polewright {
namespace {

constexpr double kReach = 5.0;  // σ beyond which a Gaussian's share of a pixel is below single precision
constexpr int kMaxAxis = 256;   // pixels along one axis that one Gaussian can touch

/// erf(x) given exp(−x²), error below 1.5e-7 (Abramowitz & Stegun 1964, 7.1.26).
double erf_given_exp(double x, double exp_minus_square) {
  const double t = 1.0 / (1.0 + 0.3275911 * std::abs(x));
  const double poly = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))));
  return std::copysign(1.0 - poly * exp_minus_square, x);
}

/// Share of a unit Gaussian per pixel along one axis and its first four derivatives by the centre. The third and
/// fourth serve the compact form's derivatives only. ∂g/∂σ = σ·g″ (heat equation).
struct AxisShares {
  int first = 0, n = 0;
  std::array<std::array<float, kMaxAxis>, 5> g{};

  void compute(double centre, double sigma, int from, int to, bool high_orders) {
    first = std::max(from, static_cast<int>(std::floor(centre - kReach * sigma)));
    const int last = std::min(to - 1, static_cast<int>(std::ceil(centre + kReach * sigma)));
    n = std::clamp(last - first + 1, 0, kMaxAxis);
    const double inv = 1.0 / sigma, peak = inv * 0.3989422804014327;
    // Gaussians at equal steps h: each is the last times a ratio that itself shrinks by exp(−h²).
    double e = (first - 0.5 - centre) * inv, gauss = std::exp(-0.5 * e * e);
    double ratio = std::exp(-inv * (e + 0.5 * inv));
    const double shrink = std::exp(-inv * inv);
    std::array<double, 5> below{};
    for (int i = 0; i <= n; ++i) {
      const double phi = peak * gauss;
      std::array<double, 5> edge{0.5 * erf_given_exp(e * 0.7071067811865476, gauss), -phi, -e * phi * inv, 0.0, 0.0};
      if (high_orders) {
        edge[3] = -(e * e - 1.0) * phi * inv * inv;
        edge[4] = -(e * e - 3.0) * e * phi * inv * inv * inv;
      }
      const std::size_t orders = high_orders ? 5 : 3;
      for (std::size_t k = 0; i > 0 && k < orders; ++k)
        g[k][static_cast<std::size_t>(i - 1)] = static_cast<float>(edge[k] - below[k]);
      below = edge;
      e += inv;
      gauss *= ratio;
      ratio *= shrink;
    }
  }
};

struct Node {
  double at = 0.0, weight = 1.0;  ///< position from −½ to ½ of the trail
};

/// Gauss–Legendre rule with four nodes on panels up to 2¼σ long: error below 1e-4 of the peak.
void sweep_nodes(double length_in_sigma, std::vector<Node>& nodes) {
  constexpr std::array<double, 4> at{-0.430568155797026, -0.169990521792428, 0.169990521792428, 0.430568155797026};
  constexpr std::array<double, 4> weight{0.173927422568727, 0.326072577431273, 0.326072577431273, 0.173927422568727};
  const int panels = std::max(1, static_cast<int>(std::ceil(length_in_sigma / 2.25)));
  nodes.clear();
  for (int p = 0; p < panels; ++p)
    for (std::size_t k = 0; k < 4; ++k) nodes.push_back({(p + 0.5 + at[k]) / panels - 0.5, weight[k] / panels});
}

struct Workspace {
  AxisShares gx, gy;
  std::vector<Node> nodes;
};

/// The part of a span that an axis's shares cover.
struct Overlap {
  int i = 0, n = 0, at = 0;  ///< first share, count, first plane row
};
Overlap overlap(const PixelSpans::Row& row, const AxisShares& gx) {
  const int a = std::max(row.x0, gx.first), b = std::min(row.x1, gx.first + gx.n);
  return {a - gx.first, std::max(0, b - a), row.offset + (a - row.x0)};
}

template <class Body>
void for_each_row(const PixelSpans& spans, const Workspace& w, Body body) {
  for (int j = 0; j < w.gy.n; ++j) {
    const int r = w.gy.first + j - spans.y0;
    if (r < 0 || r >= static_cast<int>(spans.rows.size())) continue;
    const Overlap o = overlap(spans.rows[static_cast<std::size_t>(r)], w.gx);
    if (o.n > 0) body(static_cast<std::size_t>(j), o);
  }
}

/// One Gaussian of share `amount` and width `widening`·sigma in the first-order form.
void add_compact(const StarShape& s, double amount, double widening, const PixelSpans& spans, Workspace& w,
                 ProfilePlanes& planes) {
  const auto f = static_cast<float>(amount);
  const auto a = static_cast<float>(s.trail_a / 48.0), b = static_cast<float>(s.trail_b / 24.0);
  const auto by_sigma = static_cast<float>(widening * widening * s.sigma);  // ∂/∂σ = κ²σ·∇² for width κσ
  for_each_row(spans, w, [&](std::size_t j, const Overlap& o) {
    const float y0 = f * w.gy.g[0][j], y1 = f * w.gy.g[1][j], y2 = f * w.gy.g[2][j], y3 = f * w.gy.g[3][j],
                y4 = f * w.gy.g[4][j];
    for (int i = 0; i < o.n; ++i) {
      const auto k = static_cast<std::size_t>(o.i + i);
      const float x0 = w.gx.g[0][k], x1 = w.gx.g[1][k], x2 = w.gx.g[2][k], x3 = w.gx.g[3][k], x4 = w.gx.g[4][k];
      const int p = o.at + i;
      planes(p, 0) += x0 * y0 + a * (x2 * y0 - x0 * y2) + b * x1 * y1;
      planes(p, 1) += x1 * y0 + a * (x3 * y0 - x1 * y2) + b * x2 * y1;
      planes(p, 2) += x0 * y1 + a * (x2 * y1 - x0 * y3) + b * x1 * y2;
      planes(p, 3) += by_sigma * (x2 * y0 + x0 * y2 + a * (x4 * y0 - x0 * y4) + b * (x3 * y1 + x1 * y3));
      planes(p, 4) += (x2 * y0 - x0 * y2) * (1.0F / 48.0F);
      planes(p, 5) += x1 * y1 * (1.0F / 24.0F);
    }
  });
}

/// One node of the sweep, the image alone.
void add_light(double amount, const PixelSpans& spans, Workspace& w, ProfilePlanes& planes) {
  for_each_row(spans, w, [&](std::size_t j, const Overlap& o) {
    const float y0 = static_cast<float>(amount) * w.gy.g[0][j];
    for (int i = 0; i < o.n; ++i) planes(o.at + i, 0) += w.gx.g[0][static_cast<std::size_t>(o.i + i)] * y0;
  });
}

/// One node of the sweep with derivatives.
void add_node(const StarShape& s, double amount, double widening, double at, const PixelSpans& spans, Workspace& w,
              ProfilePlanes& planes) {
  const auto f = static_cast<float>(amount), along = static_cast<float>(at);
  const auto by_sigma = static_cast<float>(widening * widening * s.sigma);
  for_each_row(spans, w, [&](std::size_t j, const Overlap& o) {
    const float y0 = f * w.gy.g[0][j], y1 = f * w.gy.g[1][j], y2 = f * w.gy.g[2][j];
    for (int i = 0; i < o.n; ++i) {
      const auto k = static_cast<std::size_t>(o.i + i);
      const float x0 = w.gx.g[0][k], dx = w.gx.g[1][k] * y0, dy = x0 * y1;
      const int p = o.at + i;
      planes(p, 0) += x0 * y0;
      planes(p, 1) += dx;
      planes(p, 2) += dy;
      planes(p, 3) += by_sigma * (w.gx.g[2][k] * y0 + x0 * y2);
      planes(p, 4) += along * dx;
      planes(p, 5) += along * dy;
    }
  });
}

}  // namespace

TrailSquare square_of(double x, double y) {
  return {x * x - y * y, 2.0 * x * y};
}

void root_of(const TrailSquare& q, double& x, double& y) {
  const double length = std::sqrt(std::hypot(q.q1, q.q2)), angle = 0.5 * std::atan2(q.q2, q.q1);
  x = length * std::cos(angle);
  y = length * std::sin(angle);
}

PixelSpans spans_around(PixelPoint middle, double tx, double ty, double reach, int width, int height) {
  PixelSpans spans;
  const double half_y = 0.5 * std::abs(ty);
  spans.y0 = std::max(0, static_cast<int>(std::ceil(middle.y - half_y - reach)));
  const int y1 = std::min(height - 1, static_cast<int>(std::floor(middle.y + half_y + reach)));
  for (int y = spans.y0; y <= y1; ++y) {
    double from = -0.5, to = 0.5;  // part of the trail that comes within reach of this row
    if (half_y > 1e-9) {
      const double a = (y - reach - middle.y) / ty, b = (y + reach - middle.y) / ty;
      from = std::clamp(std::min(a, b), -0.5, 0.5);
      to = std::clamp(std::max(a, b), -0.5, 0.5);
    }
    const double left = middle.x + std::min(from * tx, to * tx), right = middle.x + std::max(from * tx, to * tx);
    PixelSpans::Row row;
    row.x0 = std::clamp(static_cast<int>(std::ceil(left - reach)), 0, width);
    row.x1 = std::clamp(static_cast<int>(std::floor(right + reach)) + 1, row.x0, width);
    row.offset = spans.pixels;
    spans.pixels += row.x1 - row.x0;
    spans.rows.push_back(row);
  }
  return spans;
}

void evaluate_profile(const StarShape& shape, TrailForm form, const Wings& wings, const PixelSpans& spans,
                      ProfilePlanes& planes, bool derivatives) {
  static thread_local Workspace w;
  planes.setZero(spans.pixels, 6);
  int x_from = 1 << 30, x_to = 0;
  for (const auto& row : spans.rows) x_from = std::min(x_from, row.x0), x_to = std::max(x_to, row.x1);
  const int y_from = spans.y0, y_to = spans.y0 + static_cast<int>(spans.rows.size());
  for (const double widening : {1.0, kWingWidth}) {
    const double share = widening == 1.0 ? 1.0 - wings.share : wings.share;
    if (share == 0.0) continue;
    w.nodes.assign(1, Node{});
    if (form == TrailForm::swept)
      sweep_nodes(std::hypot(shape.trail_a, shape.trail_b) / (widening * shape.sigma), w.nodes);
    for (const Node& node : w.nodes) {
      const bool swept = form == TrailForm::swept;
      const double x = shape.x + (swept ? node.at * shape.trail_a : 0.0);
      const double y = shape.y + (swept ? node.at * shape.trail_b : 0.0);
      w.gx.compute(x, widening * shape.sigma, x_from, x_to, !swept);
      w.gy.compute(y, widening * shape.sigma, y_from, y_to, !swept);
      if (swept && !derivatives) {
        add_light(share * node.weight, spans, w, planes);
      } else if (swept) {
        add_node(shape, share * node.weight, widening, node.at, spans, w, planes);
      } else {
        add_compact(shape, share, widening, spans, w, planes);
      }
    }
  }
}

}  // namespace polewright
