#include <catch2/catch.hpp>

#include "polewright/advise.hpp"
#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

Session shoot(double latitude_deg, AxisError error, Pointing pointing, std::uint64_t seed) {
  SessionSpec spec;
  spec.site.latitude = Angle::deg(latitude_deg);
  spec.axes = {error};
  spec.pointings = {pointing};
  spec.frames = {{0.0}, {1200.0}};
  SessionNoise noise;
  noise.stars = 400;
  noise.star_sigma_px = noise.stated_sigma_px = 0.002;  // near-exact data: the advice, not the fit, is tested
  std::mt19937_64 random(seed);
  return make_session(spec, noise, random);
}

}  // namespace

TEST_CASE("which way to turn, in both hemispheres") {
  // Standing behind the mount and facing the pole: facing north the right hand is east, facing south it is west
  // (compass rose). Clockwise from above is north over east.
  struct Case {
    double latitude;
    AxisError error;
    AltitudeTurn altitude;
    AzimuthTurn azimuth;
    bool clockwise, right;
  };
  const Angle a = Angle::arcmin(30.0);
  for (const Case& c : {Case{47, {a, a}, AltitudeTurn::lower, AzimuthTurn::west, false, false},
                        Case{47, {-a, -a}, AltitudeTurn::raise, AzimuthTurn::east, true, true},
                        Case{-33, {a, a}, AltitudeTurn::lower, AzimuthTurn::west, true, true},
                        Case{-33, {-a, -a}, AltitudeTurn::raise, AzimuthTurn::east, false, false}}) {
    const Session session =
        shoot(c.latitude, c.error, {Angle::hours(1.0), Angle::deg(c.latitude > 0 ? 40.0 : -40.0), Angle()}, 3);
    const MountSolution s = solve_mount(session.problem);
    REQUIRE(s.outcome == MountOutcome::solved);
    const AxisCorrection turn = correction_for(s, session.problem.site, {100.0, 0.5, 2.0});
    CHECK(turn.altitude_turn == c.altitude);
    CHECK(turn.azimuth_turn == c.azimuth);
    CHECK(turn.clockwise_from_above == c.clockwise);
    CHECK(turn.right_hand == c.right);
    // The base turn is the azimuth error itself; on the sky it is smaller by the cosine of the axis's altitude. 0.1′:
    // the data are good to 0.02′.
    CHECK(turn.altitude.arcmin() == Approx(30.0).margin(0.1));
    CHECK(turn.azimuth_base.arcmin() == Approx(30.0).margin(0.1));
    CHECK(turn.azimuth_on_sky.arcmin() == Approx(30.0 * cos(altitude_of(s.axis))).margin(0.1));
    // Arc = radius × angle; 30′ of 0.5° per turn is one turn, of 2° per turn a quarter.
    CHECK(*turn.rim_mm == Approx(100.0 * turn.azimuth_base.rad()));
    CHECK(*turn.altitude_screw_turns == Approx(1.0).margin(0.004));
    CHECK(*turn.azimuth_screw_turns == Approx(0.25).margin(0.001));
    // A clockwise turn makes azimuth grow, wherever one faces (definition of azimuth).
    const auto move = base_move(s);
    const Angle grown = (azimuth_of(move.azimuth * s.axis) - azimuth_of(s.axis)).wrapped_signed();
    CHECK((grown.rad() > 0.0) == turn.clockwise_from_above);
  }
}

TEST_CASE("both moves of the base bring the axis to the pole, from any distance") {
  for (const double latitude : {-60.0, -20.0, 5.0, 35.0, 65.0})
    for (const AxisError error : {AxisError{Angle::deg(10.0), Angle::deg(-12.0)},
                                  {Angle::deg(-4.0), Angle::deg(18.0)},
                                  {Angle::arcmin(3.0), Angle::arcmin(-2.0)}}) {
      MountSolution s;
      s.outcome = MountOutcome::solved;
      const Site site{Angle::deg(latitude), Angle(), 0.0};
      s.pole = visible_pole(site, {}, ReferencePole::refracted);
      s.axis = axis_with_error(s.pole, site, error);
      s.altitude_error = altitude_of(s.axis) - altitude_of(s.pole);
      const BaseMove move = base_move(s);
      // Rounding of double arithmetic only.
      CHECK(altitude_of(move.altitude * s.axis).deg() == Approx(altitude_of(s.pole).deg()).margin(1e-10));
      CHECK(angle_between(move.azimuth * (move.altitude * s.axis), s.pole).deg() < 1e-10);
    }
}

TEST_CASE("a star on its target place means the axis is on the pole") {
  // Independent of the advice: after the base has moved, the camera's true attitude is computed by the session
  // generator with the axis on the pole, and the star is projected by a plain pinhole.
  for (const double latitude : {47.0, -33.0}) {
    const AxisError error{Angle::arcmin(40.0), Angle::arcmin(-70.0)};
    const Pointing pointing{Angle::hours(-2.0), Angle::deg(latitude > 0 ? 35.0 : -35.0), Angle::deg(20.0)};
    const Session session = shoot(latitude, error, pointing, 4);
    const MountSolution s = solve_mount(session.problem);
    REQUIRE(s.outcome == MountOutcome::solved);
    const auto target = choose_star_target(s, session.problem);
    REQUIRE(target);
    // The base's move carries the true axis to the true pole; build it from those, about the vertical last.
    const Vec<Enu> up{0, 0, 1};
    const auto raise =
        rotation_about(session.axis.cross(up).unit(), altitude_of(session.pole) - altitude_of(session.axis));
    const auto swivel = rotation_about(up, azimuth_of(session.axis) - azimuth_of(session.pole));
    CHECK(angle_between(swivel * (raise * session.axis), session.pole).arcsec() < 1e-6);
    const auto before = session.camera_from_enu.back();
    const double f = 50.0e3 / 3.9, cx = 2999.5, cy = 1999.5;
    const Vec<Enu> star =
        before.inverse() * Vec<Camera>{(target->now.x - cx) / f, (target->now.y - cy) / f, 1.0}.unit();
    const auto place = [&](Rotation<Camera, Enu> camera) {
      const Vec<Camera> d = camera * star;
      return PixelPoint{cx + f * d.x / d.z, cy + f * d.y / d.z};
    };
    const PixelPoint first = place(before * raise.inverse()), last = place(before * (swivel * raise).inverse());
    // 0.02′ of axis error is 0.08 px here.
    CHECK(target->after_altitude.x == Approx(first.x).margin(0.3));
    CHECK(target->after_altitude.y == Approx(first.y).margin(0.3));
    CHECK(target->after_both.x == Approx(last.x).margin(0.3));
    CHECK(target->after_both.y == Approx(last.y).margin(0.3));
    CHECK(target->catalogue != kNotInCatalogue);
  }
}

TEST_CASE("no star is offered when the correction carries every star off the frame") {
  // 19° of altitude alone is more than the picture's 18° of height.
  const Session session =
      shoot(47.0, {Angle::deg(19.0), Angle::deg(15.0)}, {Angle::hours(0.5), Angle::deg(30.0), Angle()}, 5);
  const MountSolution s = solve_mount(session.problem);
  REQUIRE(s.outcome == MountOutcome::solved);
  CHECK_FALSE(choose_star_target(s, session.problem));
  const auto outside = star_target(s, session.problem, 1, {3000.0, 2000.0});
  REQUIRE(outside);  // the place exists all the same
  CHECK((outside->after_altitude.y < 0.0 || outside->after_altitude.y > 3999.0));
}
