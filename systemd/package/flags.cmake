# Debian's own flags for what the package is built for: hardening, debug symbols, no path of the build.
find_program(dpkg_buildflags dpkg-buildflags REQUIRED)
find_program(dpkg_architecture dpkg-architecture REQUIRED)
execute_process(COMMAND ${dpkg_architecture} -f -t ${CMAKE_LIBRARY_ARCHITECTURE} -q DEB_HOST_ARCH
                OUTPUT_VARIABLE debian_architecture OUTPUT_STRIP_TRAILING_WHITESPACE ERROR_QUIET
                COMMAND_ERROR_IS_FATAL ANY)
function(debian_flags into)
    foreach(kind ${ARGN})
        execute_process(
            COMMAND ${CMAKE_COMMAND} -E env --unset=CFLAGS --unset=LDFLAGS DEB_HOST_ARCH=${debian_architecture}
                    DEB_BUILD_MAINT_OPTIONS=hardening=+all ${dpkg_buildflags} --get ${kind}
            WORKING_DIRECTORY ${CMAKE_SOURCE_DIR} OUTPUT_VARIABLE flags
            OUTPUT_STRIP_TRAILING_WHITESPACE COMMAND_ERROR_IS_FATAL ANY)
        string(APPEND ${into} " ${flags}")
    endforeach()
    set(${into} "${${into}}" PARENT_SCOPE)
endfunction()
debian_flags(CMAKE_C_FLAGS CPPFLAGS CFLAGS)
debian_flags(CMAKE_EXE_LINKER_FLAGS LDFLAGS)
