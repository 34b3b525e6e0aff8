#include "identify/field.hpp"

#include <cmath>

namespace polewright {

std::vector<FieldStar> field_stars(const Catalogue& catalogue, Vec<Icrs> centre, Angle radius, std::size_t wanted,
                                   std::optional<UtcTime> time) {
  // Stars over the whole sky brighter than V grow about as 10^(0.49 V + 0.75); start below the limit that follows and
  // step up, because fields differ.
  const double share = 0.5 * (1.0 - cos(radius));
  const double sky = static_cast<double>(wanted) / std::max(share, 1e-9);
  double limit = (std::log10(sky) - 0.75) / 0.49 - 0.6;
  std::vector<std::uint32_t> found = catalogue.within(centre, radius, limit);
  while (found.size() < wanted && limit < 14.0)
    found = catalogue.within(centre, radius, limit += limit < 10.0 ? 0.4 : 4.0);
  if (found.size() > wanted) found.resize(wanted);
  std::vector<FieldStar> stars;
  stars.reserve(found.size());
  for (const std::uint32_t i : found) {
    const CatalogueStar s = catalogue.star(i);
    stars.push_back({i, time && s.has_proper_motion ? catalogue.direction(i, *time) : s.direction, s.v_magnitude});
  }
  return stars;
}

}  // namespace polewright
