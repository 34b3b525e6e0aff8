#include "stars/frame_flags.hpp"

#include <algorithm>
#include <numeric>

#include "stars/calibration.hpp"

namespace polewright {
namespace {

constexpr std::ptrdiff_t kFew = 5;               // false detections of a frame of ordinary size stay below
constexpr double kBrightShare = 0.25;            // of the range: a night sky that bright still shows its stars
constexpr double kFullShare = 0.9;               // of the range: nothing to be measured in what is left
constexpr std::size_t kLeastPixels = 1U << 20U;  // a smaller cut-out of the sky may well be empty

struct Cell {
  double noise = 0.0;
  int stars = 0;
};

/// The frame in 8×6 cells: sky noise and usable stars.
std::vector<Cell> cells_of(const BackgroundMap& background, const StarList& list) {
  constexpr int kColumns = 8, kRows = 6;
  std::vector<Cell> cells(static_cast<std::size_t>(kColumns * kRows));
  const int nx = background.tiles_x(), ny = background.tiles_y();
  for (int j = 0; j < kRows; ++j)
    for (int i = 0; i < kColumns; ++i) {
      std::vector<double> noise;
      for (int iy = j * ny / kRows; iy < std::max(j * ny / kRows + 1, (j + 1) * ny / kRows); ++iy)
        for (int ix = i * nx / kColumns; ix < std::max(i * nx / kColumns + 1, (i + 1) * nx / kColumns); ++ix)
          noise.push_back(static_cast<double>(background.tile_noise(0, std::min(ix, nx - 1), std::min(iy, ny - 1))));
      cells[static_cast<std::size_t>(j * kColumns + i)].noise = median_or(std::move(noise), 0.0);
    }
  for (const Star& s : list.stars) {
    if (!s.flags.usable()) continue;
    const int i = std::clamp(static_cast<int>(s.position.x / list.width * kColumns), 0, kColumns - 1);
    const int j = std::clamp(static_cast<int>(s.position.y / list.height * kRows), 0, kRows - 1);
    ++cells[static_cast<std::size_t>(j * kColumns + i)].stars;
  }
  return cells;
}

/// Stars in some parts of the sky and hardly any in others. Ground does that too, but it is dark and therefore quiet.
bool patchy(const BackgroundMap& background, const StarList& list) {
  constexpr double kGround = 0.7;      // of the sky's noise; half its light
  constexpr int kTelling = 12;         // stars in a well-filled cell, so that chance does not empty others
  constexpr double kHardlyAny = 0.33;  // two magnitudes of cloud leave an eighth of the stars
  constexpr double kManyCells = 0.15;
  std::vector<Cell> cells = cells_of(background, list);
  std::vector<double> noise;
  for (const Cell& c : cells) noise.push_back(c.noise);
  const double quiet = kGround * median_or(std::move(noise), 0.0);
  std::erase_if(cells, [&](const Cell& c) { return c.noise < quiet; });
  std::sort(cells.begin(), cells.end(), [](const Cell& a, const Cell& b) { return a.stars < b.stars; });
  const int filled = cells[3 * cells.size() / 4].stars;
  const auto empty =
      std::count_if(cells.begin(), cells.end(), [&](const Cell& c) { return c.stars < kHardlyAny * filled; });
  return filled >= kTelling && static_cast<double>(empty) > kManyCells * static_cast<double>(cells.size());
}

}  // namespace

std::vector<std::string> frame_flags(const Frame& frame, const BackgroundMap& background, const StarList& list) {
  std::vector<std::string> flags;
  const double black = std::accumulate(frame.black_level.begin(), frame.black_level.end(), 0.0) / 4.0;
  const double light = list.sky_level - black, share = light / std::max(1.0, frame.white_level - black);
  const auto usable =
      std::count_if(list.stars.begin(), list.stars.end(), [](const Star& s) { return s.flags.usable(); });
  const bool few = usable < kFew;
  const bool daylight = share > kFullShare || (share > kBrightShare && few);
  const bool dark = few && light < list.sky_noise;
  const bool telling = !daylight && !dark && frame.pixels.size() >= kLeastPixels;
  if (daylight) flags.emplace_back("daylight");
  if (dark) flags.emplace_back("black");
  if (telling && (few || patchy(background, list))) flags.emplace_back("clouded");
  if (frame.lossy) flags.emplace_back("jpeg");
  if (list.stars.empty()) flags.emplace_back("no stars");
  return flags;
}

}  // namespace polewright
