#include "identify/pattern_index.hpp"

#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <cstring>
#include <fstream>

#include "catalogue/mapped_file.hpp"
#include "identify/pattern_build.hpp"
#include "polewright/identify.hpp"

namespace polewright {
namespace {

/// Spacing and fans of each level. The densest level has every star; it serves fields below 3° and gets few fans to
/// keep the file small.
constexpr std::array<LevelPlan, 8> kPlan{{{0.33, 4, true},
                                          {0.60, 5, false},
                                          {1.00, 6, false},
                                          {1.65, 6, false},
                                          {2.70, 7, false},
                                          {4.40, 7, false},
                                          {7.00, 7, false},
                                          {11.0, 7, false}}};

constexpr std::array<char, 8> kMagic{'P', 'W', 'F', 'A', 'N', 'S', '\n', '\0'};
constexpr std::uint32_t kVersion = 1;

struct Header {
  std::array<char, 8> magic = kMagic;
  std::uint32_t version = kVersion;
  std::uint32_t levels = 0;
  std::uint64_t catalogue_checksum = 0;
  std::uint64_t bytes = 0;
};

struct LevelHeader {
  double spacing_deg = 0.0;
  std::uint32_t bands = 0, stars = 0, neighbours = 0, bins = 0, fans = 0, reserved = 0;
};

template <class T>
void append(std::vector<std::byte>& out, const T* data, std::size_t count) {
  const auto* bytes = reinterpret_cast<const std::byte*>(data);
  out.insert(out.end(), bytes, bytes + count * sizeof(T));
  while (out.size() % 8 != 0) out.push_back(std::byte{0});
}

/// Hands out consecutive sections; remembers when the bytes did not suffice.
class Reader {
 public:
  explicit Reader(std::span<const std::byte> bytes) : rest_(bytes) {}
  template <class T>
  std::span<const T> take(std::size_t count) {
    const std::size_t size = (count * sizeof(T) + 7) / 8 * 8;
    if (size > rest_.size()) {
      whole_ = false;
      return {};
    }
    const auto* data = reinterpret_cast<const T*>(rest_.data());
    rest_ = rest_.subspan(size);
    return {data, count};
  }
  [[nodiscard]] bool whole() const { return whole_; }

 private:
  std::span<const std::byte> rest_;
  bool whole_ = true;
};

std::optional<std::filesystem::path> cache_file() {
  std::filesystem::path folder;
  if (const char* xdg = std::getenv("XDG_CACHE_HOME"); xdg != nullptr && *xdg == '/') {
    folder = xdg;
  } else if (const char* home = std::getenv("HOME"); home != nullptr && *home == '/') {
    folder = std::filesystem::path(home) / ".cache";
  } else {
    return {};
  }
  return folder / "polewright" / "patterns.bin";
}

/// Enough to tell a foreign file; each use is bounded on its own, so that a damaged one gives wrong candidates at
/// worst.
bool sound(std::span<const std::uint32_t> first, std::size_t total) {
  return !first.empty() && first.front() == 0 && first.back() == total;
}

}  // namespace

std::optional<IndexedFan> PatternLevel::unpack(std::uint32_t fan) const {
  const std::uint32_t anchor = fan >> 8, choice = fan & 0xFFU;
  if (anchor >= size() || choice >= choices_of(neighbours_)) return {};
  const Choice c = neighbour_choices()[choice];
  const auto at = [&](std::uint8_t n) { return neighbour_[std::size_t{anchor} * neighbours_ + n]; };
  const IndexedFan f{{anchor, at(c.near), at(c.middle), at(c.far)}};
  if (f.star[1] >= size() || f.star[2] >= size() || f.star[3] >= size()) return {};
  return f;
}

PatternIndex PatternIndex::build(const Catalogue& catalogue) {
  std::vector<std::pair<double, std::uint32_t>> order;
  for (std::uint32_t i = 0; i < catalogue.size(); ++i) order.emplace_back(catalogue.star(i).v_magnitude, i);
  std::sort(order.begin(), order.end());
  std::vector<BrightStar> stars;
  stars.reserve(order.size());
  for (const auto& [magnitude, i] : order) stars.push_back({catalogue.star(i).direction, i});

  auto bytes = std::make_shared<std::vector<std::byte>>();
  Header header;
  header.levels = kPlan.size();
  header.catalogue_checksum = catalogue.checksum();
  append(*bytes, &header, 1);
  for (const LevelPlan& plan : kPlan) {
    // A star of a sparse level is one of the denser level too, so each level is chosen from the one before.
    if (!plan.every_star) stars = stars_of_level(stars, plan.spacing_deg);
    const LevelTables t = build_level(stars, plan);
    const LevelHeader h{plan.spacing_deg,
                        t.bands,
                        static_cast<std::uint32_t>(t.catalogue.size()),
                        plan.neighbours,
                        t.bins,
                        static_cast<std::uint32_t>(t.fan.size()),
                        0};
    append(*bytes, &h, 1);
    append(*bytes, t.first.data(), t.first.size());
    append(*bytes, t.catalogue.data(), t.catalogue.size());
    append(*bytes, t.direction.data(), t.direction.size());
    append(*bytes, t.neighbour.data(), t.neighbour.size());
    append(*bytes, t.bucket.data(), t.bucket.size());
    append(*bytes, t.code.data(), t.code.size());
    append(*bytes, t.fan.data(), t.fan.size());
  }
  header.bytes = bytes->size();
  std::memcpy(bytes->data(), &header, sizeof header);
  const std::span<const std::byte> span(*bytes);
  auto index = view(bytes, span, catalogue.checksum());
  assert(index);
  return *std::move(index);
}

std::optional<PatternIndex> PatternIndex::view(std::shared_ptr<const void> owner, std::span<const std::byte> bytes,
                                               std::uint64_t catalogue_checksum) {
  Reader reader(bytes);
  const auto header = reader.take<Header>(1);
  if (header.empty() || header[0].magic != kMagic || header[0].version != kVersion || header[0].bytes != bytes.size() ||
      header[0].levels != kPlan.size() || header[0].catalogue_checksum != catalogue_checksum)
    return {};
  PatternIndex index;
  for (const LevelPlan& plan : kPlan) {
    const auto h = reader.take<LevelHeader>(1);
    if (h.empty() || h[0].spacing_deg != plan.spacing_deg || h[0].neighbours != plan.neighbours || h[0].bins == 0 ||
        h[0].bins > 32 || h[0].bands == 0 || h[0].bands > 3600)
      return {};
    PatternLevel level;
    level.spacing_ = Angle::deg(h[0].spacing_deg);
    level.cells_ = SkyCells(static_cast<int>(h[0].bands));
    level.neighbours_ = h[0].neighbours;
    level.bins_ = h[0].bins;
    level.first_ = reader.take<std::uint32_t>(level.cells_.count() + std::size_t{1});
    level.catalogue_ = reader.take<std::uint32_t>(h[0].stars);
    level.direction_ = reader.take<std::array<float, 3>>(h[0].stars);
    level.neighbour_ = reader.take<std::uint32_t>(std::size_t{h[0].stars} * h[0].neighbours);
    level.bucket_ = reader.take<std::uint32_t>(std::size_t{h[0].bins} * h[0].bins * h[0].bins * h[0].bins + 1);
    level.code_ = reader.take<PatternLevel::Code>(h[0].fans);
    level.fan_ = reader.take<std::uint32_t>(h[0].fans);
    if (!reader.whole() || !sound(level.first_, h[0].stars) || !sound(level.bucket_, h[0].fans)) return {};
    index.levels_.push_back(std::move(level));
  }
  index.owner_ = std::move(owner);
  index.bytes_ = bytes;
  return index;
}

std::optional<PatternIndex> PatternIndex::open(const std::filesystem::path& path, const Catalogue& catalogue) {
  auto file = MappedFile::open(path);
  if (!file) return {};
  auto owner = std::make_shared<const MappedFile>(std::move(*file));
  const auto bytes = owner->bytes();
  return view(owner, bytes, catalogue.checksum());
}

bool PatternIndex::save(const std::filesystem::path& path) const {
  std::error_code error;
  std::filesystem::create_directories(path.parent_path(), error);
  auto temporary = path;
  temporary += "." + std::to_string(::getpid());
  std::ofstream file(temporary, std::ios::binary);
  file.write(reinterpret_cast<const char*>(bytes_.data()), static_cast<std::streamsize>(bytes_.size()));
  file.close();
  if (file.good()) std::filesystem::rename(temporary, path, error);
  if (!file.good() || error) {
    std::error_code ignored;
    std::filesystem::remove(temporary, ignored);
    return false;
  }
  return true;
}

bool sky_index_ready(const Catalogue& catalogue) {
  const auto path = cache_file();
  return path && PatternIndex::open(*path, catalogue);
}

PatternIndex PatternIndex::for_catalogue(const Catalogue& catalogue) {
  const auto path = cache_file();
  if (path)
    if (auto index = open(*path, catalogue)) return *std::move(index);
  PatternIndex index = build(catalogue);
  if (path && index.save(*path))
    if (auto mapped = open(*path, catalogue)) return *std::move(mapped);
  return index;
}

}  // namespace polewright
