#include "stars/components.hpp"

#include <algorithm>
#include <cmath>

namespace polewright {
namespace {

/// Sums of one group while it grows.
struct Sums {
  double w = 0.0, wx = 0.0, wy = 0.0, wxx = 0.0, wxy = 0.0, wyy = 0.0;
  int pixels = 0, x0 = 1 << 30, y0 = 1 << 30, x1 = -1, y1 = -1, peak = 0;

  void add(const Sums& o) {
    w += o.w, wx += o.wx, wy += o.wy, wxx += o.wxx, wxy += o.wxy, wyy += o.wyy;
    pixels += o.pixels;
    x0 = std::min(x0, o.x0), y0 = std::min(y0, o.y0), x1 = std::max(x1, o.x1), y1 = std::max(y1, o.y1);
    peak = std::max(peak, o.peak);
  }
  [[nodiscard]] Component component() const {
    Component c;
    c.centre = {wx / w, wy / w};
    c.moments = {wxx / w - c.centre.x * c.centre.x, wxy / w - c.centre.x * c.centre.y,
                 wyy / w - c.centre.y * c.centre.y};
    c.pixels = pixels;
    c.x0 = x0, c.y0 = y0, c.x1 = x1, c.y1 = y1;
    c.peak = peak * static_cast<double>(SignificanceMap::kStep);
    return c;
  }
};

/// A run of significant pixels in one row and the group it belongs to.
struct Run {
  int x0, x1;  ///< [x0, x1)
  std::size_t group;
};

/// Groups joined by union-find over runs; sums live at the roots.
class Groups {
 public:
  std::size_t add(const Sums& sums) {
    parent_.push_back(parent_.size());
    sums_.push_back(sums);
    return parent_.size() - 1;
  }
  std::size_t root(std::size_t i) {
    while (parent_[i] != i) i = parent_[i] = parent_[parent_[i]];
    return i;
  }
  void join(std::size_t a, std::size_t b) {
    a = root(a), b = root(b);
    if (a == b) return;
    if (b < a) std::swap(a, b);  // the first in reading order stays
    parent_[b] = a;
    sums_[a].add(sums_[b]);
  }
  std::vector<Component> finish(int least_pixels) {
    std::vector<Component> out;
    for (std::size_t i = 0; i < parent_.size(); ++i)
      if (parent_[i] == i && sums_[i].pixels >= least_pixels) out.push_back(sums_[i].component());
    return out;
  }

 private:
  std::vector<std::size_t> parent_;
  std::vector<Sums> sums_;
};

Sums sums_of_run(const std::int16_t* row, int x0, int x1, int y) {
  Sums s;
  for (int x = x0; x < x1; ++x) {
    const double w = row[x];
    s.w += w;
    s.wx += w * x;
    s.wxx += w * x * x;
    s.peak = std::max<int>(s.peak, row[x]);
  }
  s.wy = s.w * y;
  s.wxy = s.wx * y;
  s.wyy = s.wy * y;
  s.pixels = x1 - x0;
  s.x0 = x0, s.x1 = x1 - 1, s.y0 = s.y1 = y;
  return s;
}

}  // namespace

std::vector<Component> components_above(const SignificanceMap& map, double level, int least_pixels) {
  const auto threshold = static_cast<std::int16_t>(std::lround(level / static_cast<double>(SignificanceMap::kStep)));
  Groups groups;
  std::vector<Run> above, here;
  for (int y = 0; y < map.height; ++y) {
    const std::int16_t* row = map.row(y);
    here.clear();
    std::size_t k = 0;
    for (int x = 0; x < map.width; ++x) {
      if (row[x] <= threshold) continue;
      int end = x + 1;
      while (end < map.width && row[end] > threshold) ++end;
      here.push_back({x, end, groups.add(sums_of_run(row, x, end, y))});
      while (k < above.size() && above[k].x1 < x) ++k;
      for (std::size_t j = k; j < above.size() && above[j].x0 <= end; ++j)
        groups.join(here.back().group, above[j].group);
      x = end;
    }
    above.swap(here);
  }
  return groups.finish(least_pixels);
}

}  // namespace polewright
