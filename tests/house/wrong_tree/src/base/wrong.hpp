#include "app/commands.hpp"  // what the layering forbids: the check must find it
