#include "polewright/advise.hpp"

namespace polewright {

BaseMove base_move(const MountSolution& mount) {
  const Vec<Enu> up{0.0, 0.0, 1.0};
  // Right-handed about (axis × up) carries the axis upwards; azimuth grows against the right hand about up.
  // An axis straight up has no azimuth; its hinge is taken as that of an azimuth of 0.
  const Vec<Enu> across = mount.axis.cross(up);
  const Vec<Enu> hinge = across.norm() > 0.0 ? across.unit() : Vec<Enu>{1.0, 0.0, 0.0};
  const Angle turn = (azimuth_of(mount.pole) - azimuth_of(mount.axis)).wrapped_signed();
  return {rotation_about(hinge, -mount.altitude_error), rotation_about(up, -turn)};
}

AxisCorrection correction_for(const MountSolution& mount, const Site& site, const BaseGeometry& base) {
  assert(mount.outcome == MountOutcome::solved);
  AxisCorrection c;
  c.altitude_turn = mount.altitude_error.rad() > 0.0 ? AltitudeTurn::lower : AltitudeTurn::raise;
  c.altitude = abs(mount.altitude_error);
  c.azimuth_turn = mount.azimuth_error.rad() > 0.0 ? AzimuthTurn::west : AzimuthTurn::east;
  c.azimuth_base = abs(mount.azimuth_error);
  c.azimuth_on_sky = abs(mount.azimuth_error_on_sky);
  // Seen from above north, east, south, west run clockwise: an axis near north goes clockwise to go east, one near
  // south to go west. Facing north the right hand is east and a clockwise turn goes to it; facing south it is west.
  const bool north = hemisphere_sign(site) > 0.0;
  c.clockwise_from_above = north == (c.azimuth_turn == AzimuthTurn::east);
  c.right_hand = c.clockwise_from_above;
  if (base.rim_radius_mm) c.rim_mm = *base.rim_radius_mm * c.azimuth_base.rad();
  if (base.altitude_per_screw_turn_deg) c.altitude_screw_turns = c.altitude.deg() / *base.altitude_per_screw_turn_deg;
  if (base.azimuth_per_screw_turn_deg) c.azimuth_screw_turns = c.azimuth_base.deg() / *base.azimuth_per_screw_turn_deg;
  return c;
}

}  // namespace polewright
