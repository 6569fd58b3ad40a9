//! Names that the job gives to its things. Each kind has its own type, so that a support's name
//! cannot be looked up among the points.

use serde::Serialize;
use std::fmt;

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
        #[serde(transparent)]
        pub struct $name(String);

        impl $name {
            /// Takes the name as the job writes it.
            pub fn new(name: impl Into<String>) -> Self {
                Self(name.into())
            }

            /// The name as the job writes it.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }
    };
}

id!(
    /// A place where a staff is held: on the floor, on a benchmark, on the ground.
    PointId
);
id!(
    /// A support under a bearer.
    SupportId
);
id!(
    /// One standing of the instrument: one line of sight or one water line.
    SetupId
);
id!(
    /// A room, or a part of the floor with an outline of its own.
    RoomId
);
id!(
    /// A timber that rests on supports.
    BearerId
);
id!(
    /// A timber that crosses the bearers and carries the floor.
    JoistId
);
