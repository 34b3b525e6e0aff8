// What identification is remembered by: the same question gives the same answer without being worked out again, and
// anything that could change the answer asks anew.
#include <catch2/catch.hpp>
#include <fstream>

#include "session/night_identified.hpp"
#include "support/program.hpp"

using namespace polewright;
using namespace polewright::session;
namespace fs = std::filesystem;

namespace {

FrameRecord few_stars() {
  FrameRecord r;
  r.width = 1500;
  r.height = 1000;
  for (int i = 0; i < 4; ++i) {
    StarRecord s{};
    s.x = 100.0f + 300.0f * static_cast<float>(i);
    s.y = 500.0f;
    r.stars.push_back(s);
  }
  return r;
}

IdentifyResult identified() {
  IdentifyResult result;
  result.outcome = IdentifyOutcome::identified;
  Identification& id = result.identification.emplace();
  id.lens = centred_lens(Projection::rectilinear, 12820.5, 1500, 1000);
  id.lens.k1 = -0.013;
  id.camera_from_icrs = rotation_about(Vec<Camera>{0, 0, 1}, Angle::deg(33)) * Rotation<Camera, Icrs>();
  id.matches = {{3, 77, Vec<Icrs>{0, 1, 0}, 4.5, 0.01, -0.02}};
  id.residual_rms_px = 0.07;
  id.log10_chance = -31.0;
  return result;
}

}  // namespace

TEST_CASE("an identification survives packing, and damage is noticed") {
  const std::string bytes = pack(identified());
  const auto back = unpack_identified(bytes);
  REQUIRE(back);
  REQUIRE(back->identification);
  CHECK(back->outcome == IdentifyOutcome::identified);
  CHECK(back->identification->lens.k1 == -0.013);
  CHECK(back->identification->matches.size() == 1);
  CHECK(back->identification->matches[0].catalogue == 77);
  CHECK_FALSE(back->identification->camera_from_enu);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    std::string damaged = bytes;
    damaged[i] ^= 1;
    CHECK_FALSE(unpack_identified(damaged));
  }
}

TEST_CASE("the key changes with the frame, every hint and every option") {
  const auto catalogue = Catalogue::open();
  REQUIRE(catalogue.ok());
  const FrameRecord frame = few_stars();
  const IdentifyHints hints;
  const IdentifyOptions options;
  const std::uint64_t key = identification_key(frame, *catalogue, hints, options);
  CHECK(identification_key(few_stars(), *catalogue, {}, {}) == key);
  FrameRecord moved = frame;
  moved.stars[2].y += 0.001f;
  CHECK(identification_key(moved, *catalogue, hints, options) != key);
  const auto with = [&](const auto& change) {
    IdentifyHints h = hints;
    change(h);
    return identification_key(frame, *catalogue, h, options);
  };
  CHECK(with([](IdentifyHints& h) { h.focal_px = 12820.5; }) != key);
  CHECK(with([](IdentifyHints& h) { h.centre = Vec<Icrs>{0, 0, 1}; }) != key);
  CHECK(with([](IdentifyHints& h) { h.time = UtcTime::from_unix_us(1); }) != key);
  CHECK(with([](IdentifyHints& h) { h.site = Site{Angle::deg(46), Angle::deg(10), 0}; }) != key);
  CHECK(with([](IdentifyHints& h) { h.lens = centred_lens(Projection::equidistant, 900.0, 1500, 1000); }) != key);
  IdentifyOptions patient;
  patient.time_limit_s = 7.0;
  CHECK(identification_key(frame, *catalogue, hints, patient) != key);
}

TEST_CASE("what is remembered is given back, for this key alone and across runs") {
  const fs::path file = fs::path(test::scratch_folder("identified")) / "frames.sqlite";
  const auto catalogue = Catalogue::open();
  REQUIRE(catalogue.ok());
  const FrameRecord frame = few_stars();
  const std::uint64_t key = identification_key(frame, *catalogue, {}, {});
  {
    NightCache cache(file);
    CHECK_FALSE(cache.recall(key));
    cache.note(key, pack(identified()), true);
  }
  NightCache cache(file);
  // Four stars could never be identified: the answer below can only be the remembered one.
  const IdentifyResult known = identify_remembered(frame, star_list_of(frame), *catalogue, {}, {}, &cache);
  REQUIRE(known.identification);
  CHECK(known.identification->residual_rms_px == 0.07);
  IdentifyHints other;
  other.focal_px = 5000.0;
  CHECK_FALSE(identify_remembered(frame, star_list_of(frame), *catalogue, other, {}, &cache).identification);
  CHECK_FALSE(identify_remembered(frame, star_list_of(frame), *catalogue, {}, {}, nullptr).identification);
  CHECK(cache.warnings().empty());
}
