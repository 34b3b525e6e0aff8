#include "frame/mosaic.hpp"

#include <algorithm>

namespace polewright {

std::optional<Mosaic> mosaic_from_name(std::string_view name) {
  if (name.size() != 4) return {};
  Mosaic m;
  for (std::size_t i = 0; i < 4; ++i) {
    const char c = static_cast<char>(name[i] & ~0x20);
    if (c != 'R' && c != 'G' && c != 'B') return {};
    m.colour[i] = c == 'R' ? FilterColour::red : c == 'G' ? FilterColour::green : FilterColour::blue;
  }
  const auto count = [&](FilterColour c) { return std::count(m.colour.begin(), m.colour.end(), c); };
  if (count(FilterColour::red) != 1 || count(FilterColour::green) != 2 || count(FilterColour::blue) != 1) return {};
  return m;
}

Mosaic shifted(const Mosaic& pattern, int dx, int dy) {
  Mosaic m;
  for (int y = 0; y < 2; ++y)
    for (int x = 0; x < 2; ++x) m.colour[static_cast<std::size_t>(2 * y + x)] = pattern.at(x + dx, y + dy);
  return m;
}

}  // namespace polewright
