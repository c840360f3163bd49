#include "app/aside.hpp"

#include <fcntl.h>
#include <unistd.h>

namespace plexor::app {

void keep_standard_streams() {
  for (const int stream : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO}) {
    if (fcntl(stream, F_GETFD) < 0) (void)open("/dev/null", O_RDWR);  // takes the lowest number
  }
}

}  // namespace plexor::app
