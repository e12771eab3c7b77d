"""The picture: metres at the prop to pixels on the sensor, what shows, what touches. SI arrays in and out."""
