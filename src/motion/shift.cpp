#include "polewright/motion.hpp"
