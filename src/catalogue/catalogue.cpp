#include "polewright/catalogue.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cstdlib>
#include <span>

#include "catalogue/mapped_file.hpp"
#include "catalogue/packed.hpp"
#include "catalogue/sky_cells.hpp"
#include "polewright/sky.hpp"

namespace polewright {

struct Catalogue::Map {
  MappedFile file;
  SkyCells cells;
  std::span<const std::uint32_t> first;  ///< first star of each cell, and the number of stars
  std::span<const packed::Star> stars;
  std::span<const packed::Motion> motions;
  std::span<const packed::Name> names;
  const char* text = nullptr;
  std::uint64_t checksum = 0;
};

namespace {

constexpr const char* kFileName = "stars.bin";

/// Where a table may lie: the data folder of the environment, the installation around the program, the source tree.
std::vector<std::filesystem::path> places() {
  std::vector<std::filesystem::path> found;
  if (const char* folder = std::getenv("POLEWRIGHT_DATA"); folder != nullptr && *folder != '\0')
    found.push_back(std::filesystem::path(folder) / kFileName);
  std::error_code error;
  const auto program = std::filesystem::read_symlink("/proc/self/exe", error);
  if (!error) {
    found.push_back(program.parent_path() / "../share/polewright" / kFileName);
    found.push_back(program.parent_path() / kFileName);
  }
  found.emplace_back(POLEWRIGHT_STAR_TABLE);
  return found;
}

Error damaged(const std::filesystem::path& path, ErrorCode code, std::string found, std::string expected) {
  return {code, path.string(), std::move(found), std::move(expected),
          "Restore stars.bin from the release or the source"};
}

/// Views of consecutive sections; the caller has checked that the file is long enough.
class Sections {
 public:
  explicit Sections(std::span<const std::byte> bytes) : rest_(bytes) {}
  template <class T>
  std::span<const T> take(std::size_t count) {
    const auto* data = reinterpret_cast<const T*>(rest_.data());
    rest_ = rest_.subspan(count * sizeof(T));
    return {data, count};
  }

 private:
  std::span<const std::byte> rest_;
};

}  // namespace

Catalogue::Catalogue(std::shared_ptr<const Map> map) : map_(std::move(map)) {}

Result<Catalogue> Catalogue::open(const std::optional<std::filesystem::path>& path) {
  std::filesystem::path chosen;
  if (path) {
    chosen = *path;
  } else {
    const auto all = places();
    const auto there = std::find_if(all.begin(), all.end(), [](const auto& p) {
      std::error_code error;
      return std::filesystem::exists(p, error);
    });
    chosen = there == all.end() ? all.back() : *there;
  }
  auto file = MappedFile::open(chosen);
  if (!file)
    return Error{ErrorCode::catalogue_missing, chosen.string(), "no readable star table here", "the file stars.bin",
                 "Set POLEWRIGHT_DATA to the folder that holds it"};
  const auto bytes = file->bytes();
  packed::Header h;
  if (bytes.size() < sizeof h || std::memcmp(bytes.data(), packed::kMagic.data(), packed::kMagic.size()) != 0)
    return damaged(chosen, ErrorCode::format_unknown, "not a star table", "a file that begins with PWSTARS");
  std::memcpy(&h, bytes.data(), sizeof h);
  if (h.version != packed::kVersion)
    return damaged(chosen, ErrorCode::file_unsupported, fmt::format("star table version {}", h.version),
                   fmt::format("version {}", packed::kVersion));
  if (h.bands == 0 || h.bands > 1800)
    return damaged(chosen, ErrorCode::format_unknown, fmt::format("{} bands", h.bands), "1 to 1800");
  SkyCells cells(static_cast<int>(h.bands));
  const std::size_t size = sizeof h + (cells.count() + std::size_t{1}) * sizeof(std::uint32_t) +
                           h.stars * sizeof(packed::Star) + h.motions * sizeof(packed::Motion) +
                           h.names * sizeof(packed::Name) + h.text_bytes;
  if (bytes.size() != size)
    return damaged(chosen, ErrorCode::file_truncated, fmt::format("{} bytes", bytes.size()),
                   fmt::format("{} bytes", size));
  if (packed::checksum(bytes.subspan(sizeof h)) != h.checksum)
    return damaged(chosen, ErrorCode::file_unreadable, "a star table whose checksum fails", "an undamaged copy");

  Sections sections(bytes.subspan(sizeof h));
  const auto first = sections.take<std::uint32_t>(cells.count() + std::size_t{1});
  const auto stars = sections.take<packed::Star>(h.stars);
  const auto motions = sections.take<packed::Motion>(h.motions);
  const auto names = sections.take<packed::Name>(h.names);
  const auto text = sections.take<char>(h.text_bytes);
  const bool sound = std::is_sorted(first.begin(), first.end()) && first.front() == 0 && first.back() == h.stars &&
                     (text.empty() || text.back() == '\0') &&
                     std::all_of(names.begin(), names.end(), [&](const auto& n) { return n.text < text.size(); });
  if (!sound)
    return damaged(chosen, ErrorCode::format_unknown, "a star table with broken sections", "the builder's layout");
  return Catalogue(std::make_shared<const Map>(
      Map{std::move(*file), std::move(cells), first, stars, motions, names, text.data(), h.checksum}));
}

std::size_t Catalogue::size() const {
  return map_->stars.size();
}

std::uint64_t Catalogue::checksum() const {
  return map_->checksum;
}

CatalogueStar Catalogue::star(std::uint32_t index) const {
  assert(index < map_->stars.size());
  const packed::Star& s = map_->stars[index];
  return {packed::unpack_direction(s), s.millimagnitude * 1e-3, s.has_motion != 0};
}

Vec<Icrs> Catalogue::direction(std::uint32_t index, UtcTime time) const {
  const CatalogueStar s = star(index);
  if (!s.has_proper_motion) return s.direction;
  const auto motion =
      std::find_if(map_->motions.begin(), map_->motions.end(), [&](const auto& m) { return m.star == index; });
  assert(motion != map_->motions.end());
  return with_proper_motion(s.direction, Angle::arcsec(motion->ra_cosdec_mas_per_year * 1e-3),
                            Angle::arcsec(motion->dec_mas_per_year * 1e-3), time);
}

std::vector<std::uint32_t> Catalogue::within(Vec<Icrs> centre, Angle radius, double faintest) const {
  const double limit = std::floor(faintest * 1000.0 + 1e-6), nearest = cos(radius);
  // The cosine loses the smallest cones; the chord does not.
  const double chord = 2.0 * std::sin(0.5 * std::min(radius.rad(), 3.14159265358979));
  std::vector<std::uint32_t> found;
  map_->cells.visit_cone(centre, radius, [&](std::uint32_t from, std::uint32_t to) {
    for (std::uint32_t cell = from; cell < to; ++cell)
      for (std::uint32_t i = map_->first[cell]; i < map_->first[cell + 1]; ++i) {
        const packed::Star& s = map_->stars[i];
        if (s.millimagnitude > limit) break;
        const Vec<Icrs> d = packed::unpack_direction(s);
        if (nearest > 0.9 ? (d - centre).norm() <= chord : d.dot(centre) >= nearest) found.push_back(i);
      }
  });
  std::sort(found.begin(), found.end(), [&](std::uint32_t a, std::uint32_t b) {
    const auto ma = map_->stars[a].millimagnitude, mb = map_->stars[b].millimagnitude;
    return ma != mb ? ma < mb : a < b;
  });
  return found;
}

const char* Catalogue::name(std::uint32_t index) const {
  const auto there = std::lower_bound(map_->names.begin(), map_->names.end(), index,
                                      [](const packed::Name& n, std::uint32_t i) { return n.star < i; });
  return there != map_->names.end() && there->star == index ? map_->text + there->text : "";
}

}  // namespace polewright
